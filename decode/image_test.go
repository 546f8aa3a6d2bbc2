package decode_test

import (
	"encoding/binary"
	"math"
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/decode/physics"
	"packlink/decode/physics/scenario"
	"packlink/decode/simulate"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

// readImage is the packs that a decoder knows when it has heard every register of an
// image three times, as many at once as a question can ask for: the first time tells
// where the models are, the second all powers of ten.
func readImage(table *mapping.Compiled, image decode.Registers, at int64) []pack.Status {
	d := decode.NewDecoder(table, "image")
	most := (len(image.Words) + 124) / 125
	for i := range 3 * most {
		first := i % most * 125
		words := image.Words[first:min(first+125, len(image.Words))]
		var data []byte
		for _, w := range words {
			data = binary.BigEndian.AppendUint16(data, w)
		}
		for _, sent := range [][]byte{ask(1, image.From+first, len(words)), give(1, data)} {
			d.Decode(&transport.Frame{Time: at, Medium: transport.Serial, Data: sent})
		}
	}
	packs := make([]pack.Status, d.Packs())
	for i := range packs {
		d.Status(i, at, &packs[i])
	}
	return packs
}

// TestRoundTripModels writes a simulated bank into the models of every built-in mapping that
// has them, each minute for an hour, reads them back, and holds what is read of each pack
// against the truth: equal within one in the last digit that the registers give.
func TestRoundTripModels(t *testing.T) {
	noon := time.Date(2026, 5, 28, 12, 0, 0, 0, time.UTC).UnixNano()
	for _, name := range library.Names() {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		if c.Bus.Registers == nil || c.Bus.Registers.ModelsAt < 0 {
			continue
		}
		plan, err := scenario.Load("two-packs")
		if err != nil {
			t.Fatal(err)
		}
		model, err := physics.NewBank(plan, noon)
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
			packs := readImage(c, blocks[0], noon)
			if len(packs) != model.Packs() {
				t.Fatalf("%s: %d packs are read", name, len(packs))
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
