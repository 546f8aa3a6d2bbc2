package physics

import (
	"math"
	"testing"
	"time"

	"packlink/decode/pack"

	"pgregory.net/rapid"
)

func drawDesign(t *rapid.T) Design {
	d := Typical(rapid.IntRange(1, 4).Draw(t, "cells"), rapid.Float64Range(1, 300).Draw(t, "Ah"))
	d.Charge = rapid.Float64Range(0.02, 0.99).Draw(t, "charge")
	d.Lead *= rapid.Float64Range(0.5, 2).Draw(t, "lead")
	d.Spread.Charge = rapid.Float64Range(0, 0.02).Draw(t, "spread")
	if rapid.Bool().Draw(t, "weak") {
		d.Weak = []WeakCell{{1, rapid.Float64Range(1, 5).Draw(t, "ohms"), rapid.Float64Range(0.5, 1).Draw(t, "ahs")}}
	}
	return d
}

func drawDemand(t *rapid.T, ah float64) Demand {
	amperes := func(name string) float64 { return rapid.Float64Range(-2*ah, 2*ah).Draw(t, name) }
	switch rapid.IntRange(0, 4).Draw(t, "demand") {
	case 0:
		return Current{}
	case 1:
		return Power{3 * amperes("W")}
	case 2:
		return Charge{Amperes: math.Abs(amperes("A"))}
	case 3:
		return Day{Sun: 10 * ah, House: ah, Rise: time.Hour, Set: 23 * time.Hour}
	}
	return Current{amperes("from"), amperes("to")}
}

// drawScenario makes one to three packs of equal length in any surroundings.
func drawScenario(t *rapid.T) *Scenario {
	s := &Scenario{Name: "drawn", Seed: rapid.Uint64().Draw(t, "seed"), Ambient: rapid.Float64Range(-25, 60).Draw(t, "degC"), Swing: 5}
	cells := 0
	for range rapid.IntRange(1, 3).Draw(t, "packs") {
		d := drawDesign(t)
		if cells == 0 {
			cells = d.Cells
		}
		d.Cells = cells
		s.Packs = append(s.Packs, d)
	}
	for range rapid.IntRange(1, 4).Draw(t, "phases") {
		length := time.Duration(rapid.Int64Range(int64(time.Second), int64(10*time.Minute)).Draw(t, "for"))
		s.Phases = append(s.Phases, Phase{length, drawDemand(t, s.Packs[0].Cell.Capacity)})
	}
	s.Repeat = rapid.Bool().Draw(t, "repeat")
	return s
}

// balance is by how much, relative to the capacity, a cell's charge differs from
// what it was plus what went in, less what went out.
func balance(u *unit, c *cell, before float64) float64 {
	after := before + u.charged - u.discharged - c.leakedAway - c.bledAway
	return math.Abs(c.charge-after) / c.capacity
}

// TestChargeIsConserved holds the charge balance of every cell to 1e-9 in any
// scenario: charge in minus charge out, minus what leaked and bled, is the change
// of what is stored.
func TestChargeIsConserved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := mustBank(t, drawScenario(t))
		var before [][]cell
		for _, u := range b.packs {
			before = append(before, append([]cell(nil), u.cells...))
		}
		b.Step(20 * time.Minute)
		for i, u := range b.packs {
			for k := range u.cells {
				if off := balance(u, &u.cells[k], before[i][k].charge); !(off < 1e-9) {
					t.Fatalf("pack %d, cell %d: %g of the capacity is lost", i+1, k+1, off)
				}
			}
		}
	})
}

// TestEveryStepIsPossible holds in any scenario: what flows is what was asked
// for, or nothing where the switches are open; no open switch lets anything pass; no cell gives current below
// its cut-off, nor takes any above its limit, for longer than the delay; the
// state of charge lies within 0 and 100 %; no protection comes before its
// warning.
func TestEveryStepIsPossible(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawScenario(t)
		b := mustBank(t, s)
		beyond := make([]time.Duration, len(s.Packs))
		for range 600 {
			asked, exact := asksFor(b)
			open, was := make([]opens, len(s.Packs)), make([][]watch, len(s.Packs))
			for i, u := range b.packs {
				open[i], was[i] = u.open, append([]watch(nil), u.watches...)
			}
			b.advance(Resolution / 2)
			sum, passable := 0.0, false
			for i, u := range b.packs {
				sum += u.current
				passable = passable || asked > 0 && open[i]&opensCharge == 0 || asked < 0 && open[i]&opensDischarge == 0
				checkSwitches(t, open[i], u.current)
				checkDelay(t, u, &beyond[i])
				checkWarnings(t, u, was[i])
				checkStatus(t, b, i)
			}
			if !passable {
				asked = 0
			}
			if exact && math.Abs(sum-asked) > 1e-6*(1+math.Abs(asked)) {
				t.Fatalf("%g A flow, and %g A are asked for and can pass", sum, asked)
			}
		}
	})
}

// asksFor is the current in A that the present phase asks for, if it asks for one.
func asksFor(b *Bank) (amperes float64, exact bool) {
	if b.Done() {
		return 0, true
	}
	phase := b.scenario.Phases[b.phase]
	c, exact := phase.Demand.(Current)
	middle := (b.into + Resolution/4).Seconds() / phase.For.Seconds()
	return c.From + (c.To-c.From)*middle, exact
}

func checkSwitches(t *rapid.T, open opens, current float64) {
	if open&opensCharge != 0 && current > 0 || open&opensDischarge != 0 && current < 0 {
		t.Fatalf("%g A flow with open switches %b", current, open)
	}
}

// checkDelay follows for how long a pack has gone on beyond the voltage of a
// cell; half a millivolt is the resolution of its sensors.
func checkDelay(t *rapid.T, u *unit, beyond *time.Duration) {
	const delay, half = 2 * time.Second, 0.0005
	past := false
	for _, c := range u.cells {
		past = past || u.current < 0 && c.voltage < 2.80-half || u.current > 0 && c.voltage > 3.65+half
	}
	if *beyond += Resolution / 2; !past {
		*beyond = 0
	}
	if *beyond > delay {
		t.Fatalf("%g A flow beyond a cell's limit for %v", u.current, *beyond)
	}
}

// checkWarnings wants a warning wherever a protection begins.
func checkWarnings(t *rapid.T, u *unit, was []watch) {
	for k, w := range u.watches {
		if w.protection.on && !was[k].protection.on && !w.warning.on {
			t.Fatalf("%s protects and does not warn", guards[k].kind)
		}
	}
}

func checkStatus(t *rapid.T, b *Bank, i int) {
	var s pack.Status
	b.Status(i, &s)
	if soc := number(t, b, i, pack.SOC); soc < 0 || soc > 100 {
		t.Fatalf("the state of charge is %g %%", soc)
	}
	if s.Suspect() || !s.Fresh {
		t.Fatal("a status is suspect or not fresh")
	}
}

// TestSameSeedSameBank holds that a scenario gives the same records again, and
// with another seed others.
func TestSameSeedSameBank(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawScenario(t)
		runs := [3]string{}
		for i := range runs {
			if i == 2 {
				s.Seed++
			}
			b := mustBank(t, s)
			b.Step(5 * time.Minute)
			runs[i] = records(b)
			for k := range b.packs {
				for _, c := range b.packs[k].cells {
					runs[i] += string(pack.Int(int64(math.Float64bits(c.charge))).Append(nil))
				}
			}
		}
		if runs[0] != runs[1] || runs[0] == runs[2] {
			t.Fatalf("the same seed gives the same: %t; another gives another: %t", runs[0] == runs[1], runs[0] != runs[2])
		}
	})
}

// TestNormal holds the random numbers to their mean and variance: of 10000 the
// mean has a standard deviation of 0.01.
func TestNormal(t *testing.T) {
	d := plain(1)
	d.Cells, d.Spread.Resistance = pack.MaxCells, 0.1
	var sum, squares float64
	for seed := range uint64(40) {
		for _, c := range d.makeCells(seed, 1, 25) {
			z := (c.factor - 1) / 0.1
			sum, squares = sum+z, squares+z*z
		}
	}
	const n = 40 * pack.MaxCells
	near(t, "the mean", sum/n, 0, 0.04)
	near(t, "the variance", squares/n, 1, 0.06)
}
