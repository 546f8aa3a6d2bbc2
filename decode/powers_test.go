package decode_test

import (
	"testing"

	"pgregory.net/rapid"

	"packlink/decode"
	"packlink/decode/pack"
)

// cellVolts draws cell voltages of a pack with up to so many decimals.
func cellVolts(t *rapid.T, s *pack.Status, places int) {
	for i := range rapid.IntRange(0, 32).Draw(t, "cells") {
		exp := int8(-rapid.IntRange(0, places).Draw(t, "places"))
		most := int64(6)
		for range -exp {
			most *= 10
		}
		s.PutElement(pack.Cells, i, pack.Value{Coef: rapid.Int64Range(0, most).Draw(t, "volts"), Exp: exp, At: 1, Trust: pack.Known})
	}
}

// TestPowersLoseNoDigit holds that what shares a power of ten comes back as it
// went in, wherever 16 bits have room: voltages and currents of up to four digits.
func TestPowersLoseNoDigit(t *testing.T) {
	table := compiled(t, "sunspec-battery")
	rapid.Check(t, func(t *rapid.T) {
		packs := make([]pack.Status, rapid.IntRange(1, 3).Draw(t, "packs"))
		exp := int8(rapid.IntRange(-4, 2).Draw(t, "exponent"))
		for i := range packs {
			s := &packs[i]
			s.SetNumber(pack.Voltage, pack.Decimal{Coef: rapid.Int64Range(0, 32767).Draw(t, "voltage"), Exp: exp}, 1)
			s.SetNumber(pack.Current, pack.Decimal{Coef: rapid.Int64Range(-32767, 32767).Draw(t, "current"), Exp: exp}, 1)
			cellVolts(t, s, 4)
		}
		blocks, errs := decode.Layout(table, &pack.Status{}, packs)
		read := readImage(table, blocks[0], 1)
		if len(read) != len(packs) || len(errs) > 0 {
			t.Fatalf("%d packs are read of %d, %v", len(read), len(packs), errs)
		}
		for i := range packs {
			for _, q := range []pack.Quantity{pack.Voltage, pack.Current} {
				if got := read[i].Value(q).Decimal(); got.Cmp(packs[i].Value(q).Decimal()) != 0 {
					t.Errorf("pack %d: %v is read as %v, and was %v", i+1, q, got, packs[i].Value(q).Decimal())
				}
			}
			got, want := read[i].Elements(pack.Cells), packs[i].Elements(pack.Cells)
			if len(got) != len(want) {
				t.Fatalf("pack %d: %d cells are read, of %d", i+1, len(got), len(want))
			}
			for c := range got {
				if got[c].Decimal().Cmp(want[c].Decimal()) != 0 {
					t.Errorf("pack %d cell %d: %v is read, of %v", i+1, c+1, got[c].Decimal(), want[c].Decimal())
				}
			}
		}
	})
}

// TestPowersRoundWhereNeeded holds that a value whose digits 16 bits cannot hold
// is off by at most half of the finest power that fits.
func TestPowersRoundWhereNeeded(t *testing.T) {
	table := compiled(t, "sunspec-battery")
	for _, c := range []struct{ volts, read string }{
		{"655.34", "655.34"}, {"655.35", "655.4"}, {"655.36", "655.4"}, {"6553.44", "6553.4"}, {"6553.46", "6553"}, {"70000.5", "70000"}, {"0.00001", "0.00001"},
		{"123456789", "123460000"},
	} {
		var s pack.Status
		volts, _ := pack.ParseDecimal(c.volts)
		s.SetNumber(pack.Voltage, volts, 1)
		blocks, _ := decode.Layout(table, &s, nil)
		read := readImage(table, blocks[0], 1)
		if got := read[0].Value(pack.Voltage).Decimal().String(); got != c.read {
			t.Errorf("%s V is read as %s, want %s", c.volts, got, c.read)
		}
	}
}

// TestPowerStays holds that a power of ten changes only where it must, so that a
// reader finds the one it knows.
func TestPowerStays(t *testing.T) {
	l := decode.NewLayouter(compiled(t, "sunspec-battery"))
	for _, c := range []struct {
		volts string
		power int16
	}{
		{"52", 0}, {"52.8", -1}, {"52.81", -2}, {"53", -2}, {"53.1", -2}, {"700.5", -1}, {"53", -1}, {"53.25", -2}, {"100000", 1}, {"52", 0},
	} {
		var s pack.Status
		volts, _ := pack.ParseDecimal(c.volts)
		s.SetNumber(pack.Voltage, volts, 1)
		blocks, _ := l.Write(&s, nil)
		bank := blocks[0].Words[2+2+length1:]
		if got := int16(bank[59]); got != c.power {
			t.Errorf("%s V: V_SF is %d, want %d", c.volts, got, c.power)
		}
	}
}
