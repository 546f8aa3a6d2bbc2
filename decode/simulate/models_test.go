package simulate_test

import (
	"math"
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/decode/physics"
	"packlink/decode/simulate"
	"packlink/mapping/library"
)

// TestRoundTripModels writes a simulated bank into the models of every built-in mapping that
// has them, each minute for an hour, reads them back, and holds what is read of each pack
// against the truth: equal within one in the last digit that the registers give.
func TestRoundTripModels(t *testing.T) {
	for _, name := range library.Names() {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		if c.Bus.Registers == nil || c.Bus.Registers.ModelsAt < 0 {
			continue
		}
		model, err := physics.NewBank(plan(t, "two-packs"), noon)
		if err != nil {
			t.Fatal(err)
		}
		for range 60 {
			model.Step(time.Minute)
			truth := simulate.Sum(model, "bank")
			blocks, errs := decode.Layout(c, &truth.Whole, truth.Packs)
			if len(errs) > 0 {
				t.Fatal(errs)
			}
			_, packs, err := decode.ReadModels(c, blocks[0].Words, noon)
			if err != nil || len(packs) != model.Packs() {
				t.Fatalf("%s: %d packs are read: %v", name, len(packs), err)
			}
			for i := range packs {
				if n := compareModels(t, &truth.Packs[i], &packs[i]); n < 30 {
					t.Errorf("%s: only %d values of pack %d are read", name, n, i+1)
				}
			}
		}
	}
}

// compareModels holds what was read of a pack against the truth, and counts the values.
func compareModels(t *testing.T, truth, read *pack.Status) (n int) {
	t.Helper()
	same := func(q pack.Quantity, want, got pack.Value) {
		n++
		step := math.Pow10(int(got.Exp))
		if d := math.Abs(want.Decimal().Float64() - got.Decimal().Float64()); d > step || want.Trust != got.Trust {
			t.Errorf("%s is read as %s, and is %s", q, got.Decimal(), want.Decimal())
		}
	}
	for q := range pack.Count {
		switch row := q.Row(); {
		case !read.Has(q) || !truth.Has(q) || row.Kind == pack.Word:
		case row.Kind.List():
			want := truth.Elements(q)
			for i, got := range read.Elements(q) {
				if i < len(want) {
					same(q, want[i], got)
				}
			}
		default:
			same(q, truth.Value(q), read.Value(q))
		}
	}
	return n
}
