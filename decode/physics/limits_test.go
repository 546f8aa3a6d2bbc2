package physics

import (
	"math"
	"testing"
	"time"

	"packlink/decode/pack"
)

// TestLimitsTaper works the limits of a pack of 50 A and 100 A by hand, between
// the ends of each taper and at them.
func TestLimitsTaper(t *testing.T) {
	mild := signs{cellMax: 3.3, cellMin: 3.3, tempMax: 25, tempMin: 25}
	for name, c := range map[string]struct {
		change            func(f *signs)
		charge, discharge float64
	}{
		"mild":          {func(*signs) {}, 50, 100},
		"nearly full":   {func(f *signs) { f.cellMax = 3.555 }, 25, 100},
		"full":          {func(f *signs) { f.cellMax = 3.61 }, 0, 100},
		"nearly empty":  {func(f *signs) { f.cellMin = 2.9 }, 50, 50},
		"empty":         {func(f *signs) { f.cellMin = 2.8 }, 50, 0},
		"cool":          {func(f *signs) { f.tempMin = 10 }, 50, 100},
		"cold":          {func(f *signs) { f.tempMin = 5 }, 25, 100},
		"freezing":      {func(f *signs) { f.tempMin = 0 }, 0, 100},
		"deep cold":     {func(f *signs) { f.tempMin = -15 }, 0, 50},
		"warm":          {func(f *signs) { f.tempMax = 45 }, 25, 100},
		"hot":           {func(f *signs) { f.tempMax = 55 }, 0, 50},
		"cold and full": {func(f *signs) { f.tempMin, f.cellMax = 5, 3.555 }, 12.5, 100},
		"no sensor":     {func(f *signs) { f.tempMin, f.tempMax = math.NaN(), math.NaN() }, 50, 100},
	} {
		u := mustBank(t, one(plain(16))).packs[0]
		u.signs = mild
		c.change(&u.signs)
		u.limit(0)
		near(t, name+": the charge limit", u.chargeLimit, c.charge, 1e-9)
		near(t, name+": the discharge limit", u.dischargeLimit, c.discharge, 1e-9)
	}
}

// TestLimitsFollow moves a limit from 50 A to 0 A: after its time constant of
// 10 s the e-th part is left.
func TestLimitsFollow(t *testing.T) {
	b := mustBank(t, one(plain(16)))
	b.packs[0].gauge.full = true
	b.packs[0].gauge.counted = b.packs[0].gauge.capacity
	b.Step(10 * time.Second)
	near(t, "the charge limit", number(t, b, 0, pack.ChargeCurrentLimit), 50/math.E, 0.05)
}

// TestChargerAndHouseObey lets two packs of 50 A and 30 A be charged at 5 degC,
// where they allow half, and drawn at -15 degC: the least limit counts for both.
func TestChargerAndHouseObey(t *testing.T) {
	left, right := plain(16), plain(16)
	right.ChargeLimit, right.DischargeLimit = 30, 60
	night := Day{House: 20000, Rise: 6 * time.Hour, Set: 20 * time.Hour}
	for _, c := range []struct {
		ambient float64
		demand  Demand
		total   float64
	}{{5, Charge{Amperes: 500}, 30}, {5, Charge{Amperes: 20}, 20}, {-15, night, -60}} {
		b := mustBank(t, &Scenario{Ambient: c.ambient, Packs: []Design{left, right}, Phases: []Phase{{time.Second, c.demand}}})
		b.Step(time.Second)
		near(t, "the current", b.Truth(0).Current+b.Truth(1).Current, c.total, 1e-9)
	}
}

// TestFullAndRefill holds when a pack counts as full: its tail is below 5 % of
// its capacity in an hour; and that it takes charge again below 97 %.
func TestFullAndRefill(t *testing.T) {
	d := plain(16)
	d.Charge, d.ChargeLimit = 0.9, 100
	b := mustBank(t, one(d, Phase{2 * time.Hour, Charge{Amperes: 100, Volts: 57}}, draw(20, time.Hour)))
	for !b.packs[0].gauge.full && !b.Done() {
		b.Step(time.Second)
	}
	if tail := b.Truth(0).Current; tail <= 0 || tail > 5 {
		t.Errorf("full at a tail of %g A", tail)
	}
	b.Step(2*time.Hour - time.Duration(b.Now()))
	near(t, "the charge limit when full", number(t, b, 0, pack.ChargeCurrentLimit), 0, 0)
	b.Step(6 * time.Minute) // 2 Ah
	near(t, "the charge limit at 98 %", number(t, b, 0, pack.ChargeCurrentLimit), 0, 0)
	b.Step(6 * time.Minute)
	if number(t, b, 0, pack.ChargeCurrentLimit) < 90 {
		t.Errorf("at %g %% the charge limit is %g A", number(t, b, 0, pack.SOC), number(t, b, 0, pack.ChargeCurrentLimit))
	}
}

// TestRemainingEnergy works the energy by hand: 50 Ah at 16 times 3.2 V.
func TestRemainingEnergy(t *testing.T) {
	near(t, "the energy", number(t, mustBank(t, one(plain(16))), 0, pack.RemainingEnergy), 2560, 1e-9)
}
