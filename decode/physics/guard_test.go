package physics

import (
	"math"
	"testing"
	"time"

	"packlink/decode/pack"
)

// TestGuardsNameAlarms holds the table to the closed list of kinds, and its
// thresholds to their order: a warning before its protection, an end on the
// right side of each beginning.
func TestGuardsNameAlarms(t *testing.T) {
	for _, g := range guards {
		if _, ok := pack.ParseAlarm(g.kind, "warning"); !ok {
			t.Errorf("%s is no kind of alarm", g.kind)
		}
		sign := 1.0
		if g.falls {
			sign = -1
		}
		if sign*g.warning.back >= sign*g.warning.at {
			t.Errorf("the warning of %s ends at %g and begins at %g", g.kind, g.warning.back, g.warning.at)
		}
		if p := g.protection; p != nil && (sign*p.at <= sign*g.warning.at || sign*p.back >= sign*p.at || p.seconds < g.warning.seconds || g.opens == 0) {
			t.Errorf("the protection of %s begins at %g, ends at %g and opens %d", g.kind, p.at, p.back, g.opens)
		}
	}
}

// TestEveryGuardTripsAndReleases walks each guard's value through its
// thresholds: just before them nothing happens, at them it does, after the delay
// and not before.
func TestEveryGuardTripsAndReleases(t *testing.T) {
	for _, g := range guards {
		levels := []*threshold{&g.warning}
		if g.protection != nil {
			levels = append(levels, g.protection)
		}
		for _, level := range levels {
			away := 1e-6
			if g.falls {
				away = -away
			}
			var l latch
			for _, s := range []struct {
				value, seconds float64
				on             bool
			}{
				{level.at - away, 1000, false}, {level.at, level.seconds - 0.5, false}, {level.at - away, 0.5, false},
				{level.at, level.seconds - 0.5, false}, {level.at, 0.5, true},
				{level.back, 1000, true}, {math.NaN(), 1000, true},
				{level.back - away, level.backSeconds - 0.5, true}, {level.back, 0.5, true},
				{level.back - away, level.backSeconds - 0.5, true}, {level.back - away, 0.5, false},
				{math.NaN(), 1000, false},
			} {
				if l.step(level, g.falls, s.value, s.seconds); l.on != s.on {
					t.Errorf("%s at %g for %g s: on %t, want %t", g.kind, s.value, s.seconds, l.on, s.on)
				}
			}
		}
	}
}

// provoked are what brings each protection about: a design, a demand and the
// temperature of the surroundings in degC.
var provoked = map[string]struct {
	spoil  func(d *Design)
	demand Demand
	warmth float64
}{
	"cell_overvoltage":           {func(d *Design) { d.Charge = 0.97 }, Current{30, 30}, 25},
	"cell_undervoltage":          {func(d *Design) { d.Charge = 0.1 }, Current{-30, -30}, 25},
	"charge_overcurrent":         {func(*Design) {}, Current{40, 80}, 25},
	"discharge_overcurrent":      {func(*Design) {}, Current{-110, -180}, 25},
	"charge_undertemperature":    {func(*Design) {}, Current{1, 1}, -5},
	"charge_overtemperature":     {func(*Design) {}, Current{20, 20}, 51},
	"discharge_undertemperature": {func(*Design) {}, Current{-1, -1}, -21},
	"discharge_overtemperature":  {func(*Design) {}, Current{-20, -20}, 60.5},
	"switch_overtemperature":     {func(d *Design) { d.DischargeLimit, d.ChargeLimit = 40, 1000 }, Current{20, 90}, 40},
}

// TestProtectionsOpenSwitches brings each protection about: it warns before it
// protects or at the same time, and then no such current flows any more.
func TestProtectionsOpenSwitches(t *testing.T) {
	for _, g := range guards {
		if g.protection == nil {
			continue
		}
		p, has := provoked[g.kind]
		if !has {
			t.Errorf("nothing provokes %s", g.kind)
			continue
		}
		d := Typical(16, 100)
		p.spoil(&d)
		s := one(d, Phase{time.Hour, p.demand})
		s.Ambient = p.warmth
		b := mustBank(t, s)
		warned := false
		for !alarm(t, b, 0, g.kind, "protection") && !b.Done() {
			b.Step(time.Second)
			warned = warned || alarm(t, b, 0, g.kind, "warning")
		}
		carried := b.Truth(0).Current
		b.Step(time.Second)
		if !warned || b.Done() || carried == 0 || b.Truth(0).Current != 0 {
			t.Errorf("%s: warned %t, done %t, %g A before and %g A after", g.kind, warned, b.Done(), carried, b.Truth(0).Current)
		}
		allowed := map[opens]pack.Quantity{opensCharge: pack.ChargeCurrentLimit, opensDischarge: pack.DischargeCurrentLimit}
		for side, q := range allowed {
			if g.opens&side != 0 && number(t, b, 0, q) != 0 {
				t.Errorf("%s: %v is %g", g.kind, q, number(t, b, 0, q))
			}
		}
	}
}

// TestEmptyPackComesBack empties a pack until it opens, lets it rest, and
// charges it through the switch that is still closed until it can give again.
func TestEmptyPackComesBack(t *testing.T) {
	d := Typical(16, 100)
	d.Charge = 0.05
	b := mustBank(t, one(d, draw(50, time.Hour), Phase{time.Hour, Charge{Amperes: 30}}))
	b.Step(time.Hour)
	if truth := b.Truth(0); truth.DischargeSwitch || !truth.ChargeSwitch || number(t, b, 0, pack.SOC) != 0 {
		t.Fatalf("an empty pack: %t, %t, %g %%", truth.DischargeSwitch, truth.ChargeSwitch, number(t, b, 0, pack.SOC))
	}
	b.Step(time.Hour)
	if !b.Truth(0).DischargeSwitch || b.Truth(0).Charged < 29 {
		t.Errorf("after an hour of charging the discharge switch is open, or only %g Ah went in", b.Truth(0).Charged)
	}
}

// TestOvercurrentIsTriedAgain holds that an overload opens the switch, closes it
// after its time and opens it again.
func TestOvercurrentIsTriedAgain(t *testing.T) {
	b := mustBank(t, one(Typical(16, 100), draw(150, 10*time.Minute)))
	trips, closed := 0, true
	for range 600 {
		b.Step(time.Second)
		now := b.Truth(0).DischargeSwitch
		if closed && !now {
			trips++
		}
		closed = now
	}
	if trips != 600/65+1 { // 5 s until it opens, 60 s until it closes
		t.Errorf("%d trips in ten minutes", trips)
	}
}
