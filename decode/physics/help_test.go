package physics

import (
	"math"
	"testing"
	"time"

	"packlink/decode/pack"
)

// tb is what tests and properties have in common.
type tb interface {
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

func mustBank(t tb, s *Scenario) *Bank {
	b, err := NewBank(s, 0)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// plain is a pack of equal cells without self-discharge, whose resistance does
// not change with the temperature.
func plain(cells int) Design {
	d := Typical(cells, 100)
	d.Spread, d.Cell.SelfDischarge, d.Cell.ColdRise = Spread{}, 0, 0
	return d
}

// one is a scenario at 25 degC of one pack and the given phases.
func one(d Design, phases ...Phase) *Scenario {
	return &Scenario{Name: "test", Ambient: 25, Packs: []Design{d}, Phases: phases}
}

func draw(amperes float64, d time.Duration) Phase { return Phase{d, Current{-amperes, -amperes}} }

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.9g, want %.9g within %g", what, got, want, tolerance)
	}
}

func number(t tb, b *Bank, i int, q pack.Quantity) float64 {
	var s pack.Status
	b.Status(i, &s)
	d, ok := s.Usable(q)
	if !ok {
		t.Fatalf("%v is not known", q)
	}
	return d.Float64()
}

func alarm(t tb, b *Bank, i int, kind, level string) bool {
	var s pack.Status
	b.Status(i, &s)
	a, ok := pack.ParseAlarm(kind, level)
	active, known := s.Alarms.State(a)
	if !ok || !known {
		t.Fatalf("%s %s is not known", kind, level)
	}
	return active
}
