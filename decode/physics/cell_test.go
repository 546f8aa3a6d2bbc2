package physics

import (
	"fmt"
	"math"
	"testing"
	"time"
)

// twoSteps is the resistance in ohm of a cell by the method of IEC 61960-3: 0.2
// of the capacity in an hour for 10 s, then at once all of it for 1 s, and the
// quotient of the differences.
func twoSteps(t *testing.T, d Design) float64 {
	t.Helper()
	b := mustBank(t, one(d, draw(20, 10*time.Second), draw(100, time.Second)))
	b.Step(10 * time.Second)
	first := b.Truth(0)
	b.Step(time.Second)
	second := b.Truth(0)
	return (first.Cells[0].Voltage - second.Cells[0].Voltage) / (first.Current - second.Current)
}

// TestResistanceByTwoSteps compares with the worked example of the quotient of
// IEC 61960-3: 100 Ah, 20 A and 100 A, 3.284 V and 3.252 V give 0.400 mohm.
func TestResistanceByTwoSteps(t *testing.T) {
	d := plain(1)
	d.Charge, d.Cell.Resistance = 0.6, 0.0004
	d.Cell.Fast.Resistance, d.Cell.Slow.Resistance = 0, 0
	if got := fmt.Sprintf("%.3f", 1000*twoSteps(t, d)); got != "0.400" {
		t.Errorf("%s mohm, want 0.400", got)
	}
}

// TestRelaxationAddsToTheTwoSteps adds what the relaxations do in the second
// step, by the equation of a resistor with a capacitor across it.
func TestRelaxationAddsToTheTwoSteps(t *testing.T) {
	d := plain(1)
	d.Charge = 0.6
	want := d.Cell.Resistance
	for _, r := range []Relaxation{d.Cell.Fast, d.Cell.Slow} {
		tau := r.Time.Seconds()
		after10 := 20 * r.Resistance * (1 - math.Exp(-10/tau))
		after11 := 100*r.Resistance + (after10-100*r.Resistance)*math.Exp(-1/tau)
		want += (after11 - after10) / 80
	}
	near(t, "the quotient", twoSteps(t, d), want, 2e-7) // the open-circuit voltage falls a little too
}

// TestRelaxationAtAnyStep lets a cell relax in one step of a day, in steps of
// an hour and in steps of a second.
func TestRelaxationAtAnyStep(t *testing.T) {
	d := plain(1).Cell
	relax := func(step time.Duration) cell {
		c := cell{capacity: 360000, factor: 1, charge: 180000, fast: 0.02, slow: -0.03, temp: 40}
		var fade decay
		fade.set(step.Seconds(), &d)
		c.settle(&d, 0)
		for range 24 * time.Hour / step {
			c.step(&d, 0, &fade, 20)
		}
		return c
	}
	day := relax(24 * time.Hour)
	for _, step := range []time.Duration{time.Hour, time.Minute, time.Second} {
		got := relax(step)
		near(t, "fast after "+step.String(), got.fast, day.fast, 1e-15)
		near(t, "slow after "+step.String(), got.slow, day.slow, 1e-15)
	}
	near(t, "the voltage after a day", day.voltage, openCircuit(0.5), 1e-15)
	c := cell{capacity: 360000, factor: 1, charge: 180000, slow: -0.03}
	var fade decay
	fade.set(1200, &d)
	c.settle(&d, 0)
	c.step(&d, 0, &fade, 25)
	near(t, "slow after its time constant", c.slow, -0.03/math.E, 1e-15)
}

// TestConstantCurrentAtAnyStep charges the relaxations in one step and in many.
func TestConstantCurrentAtAnyStep(t *testing.T) {
	d := plain(1).Cell
	for _, seconds := range []float64{1, 100, 3000} {
		c := cell{capacity: 360000, factor: 1, charge: 180000, temp: 25}
		var fade decay
		fade.set(seconds, &d)
		c.settle(&d, 0)
		for range int(3000 / seconds) {
			c.step(&d, -50, &fade, 25)
		}
		near(t, "fast", c.fast, -50*d.Fast.Resistance*(1-math.Exp(-100)), 1e-15)
		near(t, "slow", c.slow, -50*d.Slow.Resistance*(1-math.Exp(-2.5)), 1e-15)
		near(t, "charge", c.charge, 180000-150000, 1e-9)
	}
}

// TestHeat compares the temperature that a cell comes to with its loss over its
// cooling: I²R of all its resistances, and the time that it takes with the
// lumped model's time constant.
func TestHeat(t *testing.T) {
	d := plain(1).Cell
	resistance := d.Resistance + d.Fast.Resistance + d.Slow.Resistance
	c := cell{capacity: 1e9, factor: 1, charge: 5e8, temp: 20, fast: 50 * d.Fast.Resistance, slow: 50 * d.Slow.Resistance}
	var fade decay
	fade.set(d.HeatCapacity/d.Cooling, &d)
	c.settle(&d, 50)
	final := 20 + 50*50*resistance/d.Cooling
	c.step(&d, 50, &fade, 20)
	near(t, "the temperature after a time constant", c.temp, final+(20-final)/math.E, 1e-9)
	for range 50 {
		c.step(&d, 50, &fade, 20)
	}
	near(t, "the final temperature", c.temp, final, 1e-9)
}

// TestColdRaisesResistance compares with Arrhenius' law.
func TestColdRaisesResistance(t *testing.T) {
	d := Typical(1, 100).Cell
	for _, temp := range []float64{-20, 0, 25, 50} {
		want := math.Exp(d.ColdRise * (1/(temp+273.15) - 1/298.15))
		near(t, "the factor", d.coldFactor(temp), want, 1e-14)
	}
	if cold := d.coldFactor(0); cold < 2 || cold > 2.3 {
		t.Errorf("at 0 degC the resistance is %g times that at 25 degC", cold)
	}
}

// TestSelfDischarge leaves a pack alone for thirty days.
func TestSelfDischarge(t *testing.T) {
	d := plain(1)
	d.Cell.SelfDischarge = 0.03
	b := mustBank(t, one(d))
	b.packs[0].step(0, secondsPerMonth, 25, 0)
	c := b.Truth(0).Cells[0]
	near(t, "the charge", c.Charge, 50-3, 1e-9)
	near(t, "what leaked", c.Leaked, 3, 1e-9)
}
