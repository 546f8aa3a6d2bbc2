package physics

import (
	"testing"
	"time"

	"packlink/decode/pack"
)

// absent are the quantities that the model does not know.
var absent = map[pack.Quantity]bool{
	pack.Maker: true, pack.Serial: true, pack.Hardware: true, pack.MadeOn: true, // the scenario below does not give them
	pack.Packs: true, pack.PacksFresh: true, pack.CellMaxPack: true, pack.CellMinPack: true, // a bank's
	pack.TimeToFull: true, // it discharges
}

// TestStatusIsComplete holds that every quantity is there but those, with the
// time of the present.
func TestStatusIsComplete(t *testing.T) {
	d := Typical(16, 100)
	d.Address = 7
	d.Names = map[pack.Quantity]string{pack.Model: "bench", pack.Firmware: "1.2"}
	b, err := NewBank(one(d, draw(20, time.Hour)), 1_700_000_000_000_000_000)
	if err != nil {
		t.Fatal(err)
	}
	b.Step(90 * time.Second)
	s := pack.Status{Source: "shed", Mapping: "bench"}
	b.Status(0, &s)
	for q := range pack.Count {
		if s.Has(q) == absent[q] {
			t.Errorf("%v: known %t", q, s.Has(q))
		}
	}
	const now = 1_700_000_090_000_000_000
	if s.Time != now || s.Now != now || !s.Fresh || s.Address != 7 || !s.HasAddress || s.Source != "shed" || s.Mapping != "bench" || s.Value(pack.SOC).At != now {
		t.Errorf("the head is %+v", s)
	}
	if s.Text(pack.Model) != "bench" || len(s.Elements(pack.Cells)) != 16 || len(s.Elements(pack.Temps)) != 4 || len(s.Elements(pack.Balancing)) != 16 {
		t.Errorf("names and lists: %s", s.AppendJSON(nil))
	}
}

// TestStatusForgets reads a pack of few cells into the status of one with many.
func TestStatusForgets(t *testing.T) {
	small, bare := Typical(4, 100), Typical(4, 100)
	bare.Sensors = 0
	b := mustBank(t, &Scenario{Packs: []Design{Typical(16, 100), small, bare}})
	var used, clean pack.Status
	for i := range 3 {
		b.Status(i, &used)
		clean = pack.Status{}
		b.Status(i, &clean)
		if got, want := string(used.AppendJSON(nil)), string(clean.AppendJSON(nil)); got != want {
			t.Errorf("pack %d: got\n%s\nwant\n%s", i+1, got, want)
		}
	}
	if used.Has(pack.TempMax) || used.Has(pack.Temp) {
		t.Error("a pack without sensors tells a temperature")
	}
}

// TestStatusDoesNotAllocate holds that reading and stepping cost no memory.
func TestStatusDoesNotAllocate(t *testing.T) {
	b := mustBank(t, &Scenario{Packs: []Design{Typical(16, 100), Typical(16, 100)}, Phases: []Phase{{24 * time.Hour, Power{-500}}}})
	var s pack.Status
	b.Status(0, &s)
	if n := testing.AllocsPerRun(100, func() {
		b.Step(time.Second)
		b.Status(1, &s)
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

// TestReadingsAreTheTruth holds what sound sensors say to the truth, within
// half of their resolution.
func TestReadingsAreTheTruth(t *testing.T) {
	b := mustBank(t, one(Typical(16, 100), Phase{time.Hour, Current{-90, 45}}))
	for range 60 {
		b.Step(time.Minute)
		truth := b.Truth(0)
		near(t, "the voltage", number(t, b, 0, pack.Voltage), truth.Voltage, 0.005+1e-9)
		near(t, "the current", number(t, b, 0, pack.Current), truth.Current, 0.005+1e-9)
		for i, c := range truth.Cells {
			near(t, "a cell", cellReading(b, i+1), c.Voltage, 0.0005+1e-9)
		}
		near(t, "the power", number(t, b, 0, pack.Power), number(t, b, 0, pack.Voltage)*number(t, b, 0, pack.Current), 1e-9)
	}
}
