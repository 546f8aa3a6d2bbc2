package physics

import (
	"math"
	"testing"
	"time"

	"packlink/decode/pack"
)

// cellReading is a cell's voltage in V as the pack tells it.
func cellReading(b *Bank, cell int) float64 {
	var s pack.Status
	b.Status(0, &s)
	return s.Elements(pack.Cells)[cell-1].Decimal().Float64()
}

// TestWeakCellSags holds that a cell of high resistance is the lowest under
// load, and one of low capacity is empty first.
func TestWeakCellSags(t *testing.T) {
	for name, weak := range map[string]WeakCell{"resistance": {6, 4, 1}, "capacity": {6, 1, 0.7}} {
		d := Typical(16, 100)
		d.Weak = []WeakCell{weak}
		b := mustBank(t, one(d, draw(80, time.Hour)))
		b.Step(10 * time.Second)
		lowest := number(t, b, 0, pack.CellMinAt)
		if sag := number(t, b, 0, pack.CellSpread); name == "resistance" && (lowest != 6 || sag < 0.08) {
			t.Errorf("%s: after ten seconds cell %g is the lowest, by %g V", name, lowest, sag)
		}
		for !alarm(t, b, 0, "cell_undervoltage", "protection") && !b.Done() {
			b.Step(time.Second)
		}
		if lowest = number(t, b, 0, pack.CellMinAt); lowest != 6 || b.Done() {
			t.Errorf("%s: cell %g is empty first (done %t)", name, lowest, b.Done())
		}
	}
}

// TestStuckCellHides freezes the reading of a cell before it is empty: the
// reading stays, the cell does not, and no protection sees it.
func TestStuckCellHides(t *testing.T) {
	d := plain(16)
	d.Charge = 0.3
	d.Weak = []WeakCell{{3, 1, 0.6}}
	d.Stuck = []StuckSensor{{Cell: 3, From: time.Minute}}
	b := mustBank(t, one(d, draw(50, 35*time.Minute)))
	b.Step(time.Minute)
	frozen := cellReading(b, 3)
	near(t, "the last free reading", frozen, b.Truth(0).Cells[2].Voltage, 0.0005)
	b.Step(24 * time.Minute)
	if got, real := cellReading(b, 3), b.Truth(0).Cells[2].Voltage; got != frozen || real > dischargeVolts {
		t.Errorf("the frozen reading is %g V, before %g V; the cell has %g V", got, frozen, real)
	}
	if alarm(t, b, 0, "cell_undervoltage", "protection") {
		t.Error("a protection sees what its sensor does not")
	}
	sum := number(t, b, 0, pack.Voltage)
	near(t, "the pack's own voltage", sum, b.Truth(0).Voltage, 0.005)
}

// TestStuckTemperature freezes one of four sensors while the pack cools.
func TestStuckTemperature(t *testing.T) {
	d := plain(16)
	d.Stuck = []StuckSensor{{Temp: 2}}
	b := mustBank(t, one(d))
	b.scenario.Ambient = -10
	b.Step(2 * time.Hour)
	var status pack.Status
	b.Status(0, &status)
	for i, v := range status.Elements(pack.Temps) {
		if stuck := v.Decimal().Float64() == 25; stuck != (i == 1) {
			t.Errorf("sensor %d shows %v degC", i+1, v.Decimal())
		}
	}
}

// TestBalancingBleedsTheHighest charges cells that differ until full, and rests:
// those that bleed are the highest, and the cells come closer to one another.
func TestBalancingBleedsTheHighest(t *testing.T) {
	d := Typical(8, 20)
	d.Charge, d.Spread.Charge, d.Bleed = 0.9, 0.01, 5
	b := mustBank(t, one(d, Phase{24 * time.Hour, Charge{Amperes: 5}}))
	apart := func() float64 {
		low, high := math.Inf(1), math.Inf(-1)
		for _, c := range b.Truth(0).Cells {
			low, high = min(low, c.Charge/c.Capacity), max(high, c.Charge/c.Capacity)
		}
		return high - low
	}
	before, bled := apart(), false
	var s pack.Status
	for range 10 * 60 {
		b.Step(time.Minute)
		b.Status(0, &s)
		least := number(t, b, 0, pack.CellMin)
		for i, on := range s.Elements(pack.Balancing) {
			volts := s.Elements(pack.Cells)[i].Decimal().Float64()
			if on.Coef == 1 && (volts < balanceFrom || volts < least+balanceOver-1e-9) {
				t.Fatalf("cell %d bleeds at %g V, and the lowest has %g V", i+1, volts, least)
			}
			bled = bled || on.Coef == 1
		}
	}
	if after := apart(); !bled || after > 0.6*before {
		t.Errorf("bled %t; the charges were %g apart, and are %g", bled, before, after)
	}
}
