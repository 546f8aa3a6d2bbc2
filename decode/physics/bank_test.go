package physics

import (
	"math"
	"strings"
	"testing"
	"time"

	"packlink/decode/pack"
)

// TestPacksShareByTheirResistance holds a bank to U = (sum E/R + I) / sum 1/R
// in each of its steps, with the sources that its cells show.
func TestPacksShareByTheirResistance(t *testing.T) {
	left, right := Typical(16, 100), Typical(16, 100)
	right.Lead, right.Charge = 0.012, 0.55
	b := mustBank(t, &Scenario{Ambient: 25, Packs: []Design{left, right}, Phases: []Phase{draw(60, time.Minute), {time.Minute, Current{}}}})
	for second := range 120 {
		var e, r [2]float64
		for i, u := range b.packs {
			r[i] = u.design.Lead
			for _, c := range b.Truth(i).Cells {
				r[i] += c.Resistance
			}
			e[i] = b.Truth(i).Voltage - (r[i]-u.design.Lead)*u.current
		}
		b.Step(time.Second)
		total := -60.0
		if second >= 60 {
			total = 0
		}
		bar := (e[0]/r[0] + e[1]/r[1] + total) / (1/r[0] + 1/r[1])
		for i := range 2 {
			near(t, "the bar", b.Truth(i).Bar, bar, 1e-9)
			near(t, "the current", b.Truth(i).Current, (bar-e[i])/r[i], 1e-6)
		}
	}
	if from, to := b.Truth(1).Current, b.Truth(0).Current; !(from < -0.1 && to > 0.1) {
		t.Errorf("without a load %g A flow out of the fuller pack, and %g A into the other", from, to)
	}
}

// TestOpenPackCarriesNothing trips one of two packs and holds that no current
// flows in it while the other has it all.
func TestOpenPackCarriesNothing(t *testing.T) {
	small, large := Typical(16, 20), Typical(16, 200)
	b := mustBank(t, &Scenario{Ambient: 25, Packs: []Design{small, large}, Phases: []Phase{draw(150, time.Hour)}})
	b.packs[0].open = opensCharge | opensDischarge
	b.advance(time.Second)
	if b.Truth(0).Current != 0 || math.Abs(b.Truth(1).Current+150) > 1e-9 {
		t.Errorf("%g A in the open pack, %g A in the other", b.Truth(0).Current, b.Truth(1).Current)
	}
}

// TestLongStepsAreManyShortOnes gives one step of an hour and 3600 of a second.
func TestLongStepsAreManyShortOnes(t *testing.T) {
	s := &Scenario{Ambient: 5, Packs: []Design{Typical(16, 100), Typical(15, 80)}, Phases: []Phase{draw(40, 17*time.Minute), {time.Hour, Charge{Amperes: 50}}}}
	one, many := mustBank(t, s), mustBank(t, s)
	one.Step(time.Hour)
	for range 3600 {
		many.Step(time.Second)
	}
	if a, b := records(one), records(many); a != b {
		t.Errorf("one step gives\n%s\nand many give\n%s", a, b)
	}
	if one.Now() != time.Hour.Nanoseconds() {
		t.Errorf("an hour after 0 it is %d", one.Now())
	}
}

// records are what all packs say now.
func records(b *Bank) string {
	var text []byte
	var s pack.Status
	for i := range b.Packs() {
		b.Status(i, &s)
		text = append(s.AppendJSON(text), '\n')
	}
	return string(text)
}

// TestChargeOfARamp compares with the integral: half the sum of the ends times
// the time.
func TestChargeOfARamp(t *testing.T) {
	b := mustBank(t, one(plain(16), Phase{333 * time.Second, Current{-10, -90}}))
	b.Step(333 * time.Second)
	near(t, "the charge", b.Truth(0).Discharged, 50.0*333/3600, 1e-12)
	if !b.Done() {
		t.Error("the phase goes on")
	}
}

// TestPowerPhase holds a load to its power.
func TestPowerPhase(t *testing.T) {
	b := mustBank(t, one(Typical(16, 100), Phase{time.Minute, Power{-2000}}))
	for range 60 {
		b.Step(time.Second)
		near(t, "the power", b.Truth(0).Bar*b.Truth(0).Current, -2000, 1e-6)
	}
}

// TestChargerGoesFromCurrentToVoltage charges a pack full: constant current,
// then constant voltage, then nothing, within what the pack allows.
func TestChargerGoesFromCurrentToVoltage(t *testing.T) {
	d := plain(16)
	d.Charge = 0.8
	b := mustBank(t, one(d, Phase{4 * time.Hour, Charge{Amperes: 30}}))
	b.Step(time.Minute)
	near(t, "the current at first", b.Truth(0).Current, 30, 1e-9)
	held, last := false, 30.0
	for range 3 * 3600 {
		b.Step(time.Second)
		truth := b.Truth(0)
		if truth.Bar > 16*chargeVolts+1e-9 {
			t.Fatalf("%g V at the bar", truth.Bar)
		}
		if math.Abs(truth.Bar-16*chargeVolts) < 1e-9 {
			held = true
			if truth.Current > last+1e-9 {
				t.Fatalf("the current rises from %g A to %g A at constant voltage", last, truth.Current)
			}
		}
		last = truth.Current
	}
	if !held || last != 0 {
		t.Errorf("constant voltage %t, at the end %g A", held, last)
	}
	near(t, "the state of charge", number(t, b, 0, pack.SOC), 100, 0)
	near(t, "the charge limit when full", number(t, b, 0, pack.ChargeCurrentLimit), 0, 0)
	if alarm(t, b, 0, "cell_overvoltage", "warning") {
		t.Error("a charger that obeys makes the pack warn")
	}
}

// TestDay follows a house through a day: the packs feed it at night and take
// the sun at noon, never beyond what they allow.
func TestDay(t *testing.T) {
	b := mustBank(t, one(Typical(4, 100), Phase{24 * time.Hour, Day{Sun: 1000, House: 75, Rise: 6 * time.Hour, Set: 20 * time.Hour}}))
	for hour := range 24 {
		charge, discharge := number(t, b, 0, pack.ChargeCurrentLimit), number(t, b, 0, pack.DischargeCurrentLimit)
		b.Step(time.Second)
		current := b.Truth(0).Current
		if current > charge+1e-9 || current < -discharge-1e-9 {
			t.Errorf("at %d:00 %g A flow; %g A and %g A are allowed", hour, current, charge, -discharge)
		}
		switch {
		case hour < 6 || hour >= 20:
			near(t, "the power at night", b.Truth(0).Bar*current, -75, 1e-6)
		case hour == 9 && current <= 10:
			t.Errorf("at 9:00 %g A flow", current)
		}
		b.Step(time.Hour - time.Second)
	}
}

// TestSurroundings holds the swing of their temperature to its extremes.
func TestSurroundings(t *testing.T) {
	s := one(Typical(1, 100))
	s.Ambient, s.Swing = 8, 6
	for hour, want := range map[int64]float64{4: 2, 10: 8, 16: 14, 22: 8} {
		for _, days := range []int64{0, 20000, -3} {
			b, err := NewBank(s, (24*days+hour)*int64(time.Hour))
			if err != nil {
				t.Fatal(err)
			}
			near(t, "the temperature", b.ambient(), want, 1e-9)
		}
	}
}

// TestPhasesRepeat counts phases that begin anew.
func TestPhasesRepeat(t *testing.T) {
	s := one(plain(16), draw(36, 10*time.Second), Phase{10 * time.Second, Current{}})
	s.Repeat = true
	b := mustBank(t, s)
	b.Step(95 * time.Second)
	near(t, "the charge", b.Truth(0).Discharged, 36*50.0/3600, 1e-12)
	if b.Done() {
		t.Error("what repeats is done")
	}
}

// TestCheck refuses what cannot be simulated.
func TestCheck(t *testing.T) {
	spoil := map[string]func(s *Scenario){
		"no pack":       func(s *Scenario) { s.Packs = nil },
		"ambient":       func(s *Scenario) { s.Ambient = math.NaN() },
		"cells":         func(s *Scenario) { s.Packs[0].Cells = 0 },
		"many cells":    func(s *Scenario) { s.Packs[0].Cells = 257 },
		"capacity":      func(s *Scenario) { s.Packs[0].Cell.Capacity = -1 },
		"time constant": func(s *Scenario) { s.Packs[0].Cell.Slow.Time = 0 },
		"weak cell":     func(s *Scenario) { s.Packs[0].Weak = []WeakCell{{17, 1, 1}} },
		"stuck sensor":  func(s *Scenario) { s.Packs[0].Stuck = []StuckSensor{{Cell: 1, Temp: 1}} },
		"stuck temp":    func(s *Scenario) { s.Packs[0].Stuck = []StuckSensor{{Temp: 5}} },
		"name":          func(s *Scenario) { s.Packs[0].Names = map[pack.Quantity]string{pack.SOC: "1"} },
		"long name":     func(s *Scenario) { s.Packs[0].Names = map[pack.Quantity]string{pack.Model: strings.Repeat("x", 48)} },
		"no time":       func(s *Scenario) { s.Phases = []Phase{{time.Second - 1, Current{}}} },
		"no demand":     func(s *Scenario) { s.Phases = []Phase{{time.Second, nil}} },
		"endless":       func(s *Scenario) { s.Phases = []Phase{{time.Second, Current{0, math.Inf(1)}}} },
		"power":         func(s *Scenario) { s.Phases = []Phase{{time.Second, Power{math.NaN()}}} },
		"charger":       func(s *Scenario) { s.Phases = []Phase{{time.Second, Charge{Amperes: -1}}} },
		"night":         func(s *Scenario) { s.Phases = []Phase{{time.Second, Day{Rise: 9, Set: 8}}} },
	}
	for name, f := range spoil {
		s := one(Typical(16, 100))
		f(s)
		if _, err := NewBank(s, 0); err == nil {
			t.Errorf("%s: nothing is refused", name)
		}
	}
}
