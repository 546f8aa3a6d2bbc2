package physics

import (
	"testing"
	"time"

	"packlink/decode/pack"
)

// BenchmarkHour simulates an hour of two packs of 16 cells in steps of a second,
// and reads what both say after each.
func BenchmarkHour(b *testing.B) {
	s := &Scenario{Packs: []Design{Typical(16, 100), Typical(16, 100)}, Phases: []Phase{{time.Hour, Current{-30, -30}}}}
	var status pack.Status
	b.ReportAllocs()
	for b.Loop() {
		bank, err := NewBank(s, 0)
		if err != nil {
			b.Fatal(err)
		}
		for range 3600 {
			bank.Step(time.Second)
			for i := range bank.Packs() {
				bank.Status(i, &status)
			}
		}
	}
}
