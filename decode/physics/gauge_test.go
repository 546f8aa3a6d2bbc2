package physics

import (
	"math"
	"testing"
	"time"

	"packlink/decode/pack"
)

// TestOffsetDrifts compares with a worked figure: a sensor that shows 50 mA too
// little for 24 h loses 1.2 Ah, which is 1.2 % of 100 Ah.
func TestOffsetDrifts(t *testing.T) {
	d := plain(1)
	d.Meter.Offset = -0.05
	b := mustBank(t, one(d))
	b.Step(24 * time.Hour)
	near(t, "what is left", number(t, b, 0, pack.Remaining), 50-1.2, 1e-9)
	near(t, "the state of charge", number(t, b, 0, pack.SOC), 50-1.2, 1e-9)
	near(t, "what is really left", b.Truth(0).Cells[0].Charge, 50, 1e-9)
	near(t, "the current", number(t, b, 0, pack.Current), -0.05, 0)
}

// TestGainDrifts draws 30 Ah by a meter that shows 1 % too much.
func TestGainDrifts(t *testing.T) {
	d := plain(16)
	d.Meter.Gain = 1.01
	b := mustBank(t, one(d, draw(30, time.Hour)))
	b.Step(time.Hour)
	near(t, "what is left", number(t, b, 0, pack.Remaining), 50-30.3, 1e-9)
	near(t, "what is really left", b.Truth(0).Cells[0].Charge, 50-30, 1e-9)
}

// TestFullCorrectsDrift lets a gauge that has drifted see a full charge.
func TestFullCorrectsDrift(t *testing.T) {
	d := plain(16)
	d.Charge, d.Meter.Gain = 0.7, 0.9
	b := mustBank(t, one(d, Phase{3 * time.Hour, Charge{Amperes: 50}}))
	b.Step(30 * time.Minute)
	if shown, real := number(t, b, 0, pack.SOC), b.Truth(0).Cells[0].Charge; math.Abs(shown-real) < 1 {
		t.Errorf("%g %% is shown and %g %% real: nothing has drifted", shown, real)
	}
	b.Step(150 * time.Minute)
	near(t, "the state of charge", number(t, b, 0, pack.SOC), 100, 0)
}

// TestCountingByAReader samples a step of 100 A as a reader of the records
// would, and integrates by trapezoids: the error is at most the step times half
// the interval, 0.0139 Ah at 1 s and 0.833 Ah at 60 s (worked figures).
func TestCountingByAReader(t *testing.T) {
	for interval, most := range map[time.Duration]float64{time.Second: 0.0139, time.Minute: 0.8334} {
		b := mustBank(t, one(plain(16), Phase{10 * time.Minute, Current{}}, draw(100, 10*time.Minute)))
		sum, last := 0.0, 0.0
		for range 20 * time.Minute / interval {
			b.Step(interval)
			current := number(t, b, 0, pack.Current)
			sum += (last + current) / 2 * interval.Hours()
			last = current
		}
		if off := math.Abs(sum + b.Truth(0).Discharged); off > most || off < most*0.99 {
			t.Errorf("at %v the reader is off by %g Ah, want %g Ah", interval, off, most)
		}
	}
}

// TestCycles counts full cycles: what goes out against the full charge.
func TestCycles(t *testing.T) {
	d := plain(16)
	d.Cycles, d.Charge = 41.7, 0.9
	b := mustBank(t, one(d, draw(50, 30*time.Minute), draw(50, 30*time.Minute)))
	b.Step(30 * time.Minute)
	near(t, "cycles", number(t, b, 0, pack.Cycles), 41, 0)
	b.Step(30 * time.Minute)
	near(t, "cycles", number(t, b, 0, pack.Cycles), 42, 0)
}

// TestTimesAndWishes works the times until full and empty by hand, and holds
// the wishes of a pack that is nearly empty and was long not full.
func TestTimesAndWishes(t *testing.T) {
	b := mustBank(t, one(plain(16), draw(40, time.Second), Phase{time.Second, Current{20, 20}}, Phase{time.Second, Current{}}))
	b.Step(time.Second)
	near(t, "time until empty", number(t, b, 0, pack.TimeToEmpty), (180000-40)/40, 0)
	b.Step(time.Second)
	near(t, "time until full", number(t, b, 0, pack.TimeToFull), (180000+20)/20, 0)
	b.Step(time.Second)
	var s pack.Status
	b.Status(0, &s)
	if s.Has(pack.TimeToEmpty) || s.Has(pack.TimeToFull) {
		t.Error("a pack at rest tells how long it lasts")
	}
	b.packs[0].gauge.counted, b.packs[0].gauge.sinceFull = 0.04*360000, 8*24*3600
	b.Status(0, &s)
	for _, q := range []pack.Quantity{pack.ChargeNowWanted, pack.FullChargeWanted} {
		if d, ok := s.Usable(q); !ok || d.Coef != 1 {
			t.Errorf("%v is not said", q)
		}
	}
}
