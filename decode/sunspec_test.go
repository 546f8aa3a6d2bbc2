package decode_test

import (
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
)

// Facts of the SunSpec information model definitions, commit 7abdf8982d53 of
// 2026-04-22: lengths of the blocks, of one string of model 803, of one module of
// model 804 and of one cell of model 805.
const (
	length1, length713, length802, length803, length804, length805 = 66, 7, 62, 26, 46, 42
	lengthString, lengthModule, lengthCell                         = 32, 16, 4
)

// TestBlockLengthsAndMarks walks the image of banks of up to four packs, the first
// of which has no cells, the second one, and so on.
func TestBlockLengthsAndMarks(t *testing.T) {
	table := compiled(t, "sunspec-battery")
	for n := range 5 {
		packs := make([]pack.Status, n)
		want := [][2]int{{1, length1}, {802, length802}, {803, length803 + n*lengthString}}
		for i := range packs {
			for cell := range i {
				packs[i].PutElement(pack.Cells, cell, pack.Value{Coef: 33, Exp: -1, At: 1, Trust: pack.Known})
			}
			want = append(want, [2]int{804, length804 + lengthModule}, [2]int{805, length805 + i*lengthCell})
		}
		want = append(want, [2]int{713, length713}, [2]int{0xFFFF, 0})
		blocks, errs := decode.Layout(table, &pack.Status{}, packs)
		if len(blocks) != 1 || len(errs) > 0 {
			t.Fatalf("%d blocks, %v", len(blocks), errs)
		}
		w := blocks[0].Words
		if blocks[0].From != 40000 || w[0] != 0x5375 || w[1] != 0x6E53 {
			t.Errorf("at %d: %04X %04X, want SunS at 40000", blocks[0].From, w[0], w[1])
		}
		at := 2
		for _, head := range want {
			if [2]int{int(w[at]), int(w[at+1])} != head {
				t.Fatalf("%d packs: at %d id and length are %d, %d, want %d", n, at, w[at], w[at+1], head)
			}
			at += 2 + head[1]
		}
		if at != len(w) {
			t.Errorf("%d packs: %d registers, want %d", n, len(w), at)
		}
	}
}

// TestModelsOfManyPacksHaveAnEnd holds that packs for which Modbus has no registers
// are told of, and that the image stays one that can be read.
func TestModelsOfManyPacksHaveAnEnd(t *testing.T) {
	table := compiled(t, "sunspec-battery")
	packs := make([]pack.Status, decode.MaxPacks)
	for i := range packs {
		packs[i].PutElement(pack.Cells, 99, pack.Value{Coef: 33, Exp: -1, At: 1, Trust: pack.Known})
	}
	blocks, errs := decode.Layout(table, &pack.Status{}, packs)
	if end := blocks[0].From + len(blocks[0].Words); len(errs) != 1 || end > 1<<16 {
		t.Errorf("the image ends at %d; told of %v", end, errs)
	}
	if read := readImage(table, blocks[0], 1); len(read) != len(packs) {
		t.Errorf("%d packs are read", len(read))
	}
}

// TestSignOption turns current and power around.
func TestSignOption(t *testing.T) {
	var s pack.Status
	s.SetNumber(pack.Current, pack.Decimal{Coef: -253, Exp: -1}, 1)
	s.SetNumber(pack.Power, pack.Int(-1328), 1)
	for reference, want := range map[string][2]int16{
		"sunspec-battery":                            {-253, -1328},
		"sunspec-battery?current=charge-positive":    {-253, -1328},
		"sunspec-battery?current=discharge-positive": {253, 1328},
	} {
		blocks, _ := decode.Layout(compiled(t, reference), &s, nil)
		bank := blocks[0].Words[2+2+length1:]
		if got := [2]int16{int16(bank[44]), int16(bank[47])}; got != want {
			t.Errorf("%s: A and W are %v, want %v", reference, got, want)
		}
	}
}

// TestValueBeyondItsRegister is told of, and never wraps around.
func TestValueBeyondItsRegister(t *testing.T) {
	var s pack.Status
	s.SetNumber(pack.Voltage, pack.Int(-1), 1)        // in an unsigned register
	s.SetNumber(pack.Cycles, pack.Int(0xFFFFFFFF), 1) // would be the word for "not implemented"
	blocks, errs := decode.Layout(compiled(t, "sunspec-battery"), &s, nil)
	bank := blocks[0].Words[2+2+length1:]
	if bank[34] != 0xFFFF || bank[14] != 0xFFFF || bank[15] != 0xFFFF {
		t.Errorf("V is %04X and NCyc %04X %04X, want FFFF", bank[34], bank[14], bank[15])
	}
	if len(errs) != 2 {
		t.Errorf("told of %v, want voltage and cycles", errs)
	}
}

// TestHalfAnImageIsNoPack holds that models are read only once all of them are known,
// from the mark to the end.
func TestHalfAnImageIsNoPack(t *testing.T) {
	table := compiled(t, "sunspec-battery")
	blocks, _ := decode.Layout(table, &pack.Status{}, make([]pack.Status, 2))
	from, whole := blocks[0].From, blocks[0].Words
	for name, words := range map[string][]uint16{
		"no mark":          whole[1:],
		"mark only":        whole[:2],
		"cut in a model":   whole[:100],
		"cut in the head":  whole[:71],
		"without an end":   whole[:len(whole)-2],
		"length too large": append([]uint16{0x5375, 0x6E53, 802, 0xFFFF}, make([]uint16, 70)...),
	} {
		if packs := readImage(table, decode.Registers{From: from, Words: words}, 1); len(packs) != 0 {
			t.Errorf("%s: %d packs", name, len(packs))
		}
	}
	if packs := readImage(table, blocks[0], 1); len(packs) != 2 {
		t.Errorf("the whole image: %d packs", len(packs))
	}
}
