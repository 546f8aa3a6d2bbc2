package decode_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
)

// Facts of the SunSpec information model definitions, commit 7abdf8982d53 of
// 2026-04-22: lengths of the blocks, and of one string of model 803.
const (
	length1, length802, length803, lengthString = 66, 62, 26, 32
)

// The "not implemented" values, from the SunSpec Alliance's reference library,
// commit f2ece9aac64b of 2026-04-20.
var notImplemented = map[string]uint64{"u16": 0xFFFF, "i16": 0x8000, "u32": 0xFFFFFFFF, "flags32": 0xFFFFFFFF}

// wireTypes are how this project's types carry the standard's.
var wireTypes = map[string]string{
	"uint16": "u16", "enum16": "u16", "pad": "u16", "int16": "i16", "sunssf": "i16",
	"uint32": "u32", "bitfield32": "u32",
}

// TestOffsetsOfEveryPoint holds the layout against the published definitions,
// point by point.
func TestOffsetsOfEveryPoint(t *testing.T) {
	file, err := os.Open("../../shared/standards/sunspec/offsets_battery_models.csv")
	if err != nil {
		t.Skip("the published definitions are not here: ", err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	table := compiled(t, "sunspec-battery")
	compared := 0
	for _, row := range rows[1:] {
		model, offset, name, kind, size, factor := row[0], row[2], row[3], row[4], row[5], row[6]
		p := findModel(table, model)
		if p == nil || name == "ID" || name == "L" {
			continue
		}
		fields := p.Fields
		if at, inGroup := strings.CutPrefix(offset, "+"); inGroup {
			fields, offset = p.Message.Each.Fields, strings.TrimSuffix(at, " in block")
		}
		compared++
		f := findField(fields, offset)
		if f == nil {
			t.Errorf("model %s: no field at %s for %s", model, offset, name)
			continue
		}
		want := wireTypes[kind]
		if kind == "string" {
			registers, _ := strconv.Atoi(size)
			want = "text" + strconv.Itoa(2*registers)
		}
		if got := strings.Replace(f.Type.Name, "flags", "u", 1); got != want {
			t.Errorf("model %s %s: type %s, want %s", model, name, got, want)
		}
		if f.ScaleBy != factor && f.Target != nil {
			t.Errorf("model %s %s: scale factor %q, want %q", model, name, f.ScaleBy, factor)
		}
		if f.Let != "" && f.Let != name {
			t.Errorf("model %s: the field at %s is named %s, want %s", model, offset, f.Let, name)
		}
	}
	if compared != 115 {
		t.Errorf("compared %d points, want the 115 of the three models", compared)
	}
}

func findModel(table *mapping.Compiled, model string) *mapping.Program {
	for i := range table.Programs {
		if strconv.Itoa(table.Programs[i].Read.Model) == model {
			return &table.Programs[i]
		}
	}
	return nil
}

func findField(fields []mapping.Field, offset string) *mapping.Field {
	for i := range fields {
		if strconv.Itoa(fields[i].At) == offset {
			return &fields[i]
		}
	}
	return nil
}

func TestBlockLengthsAndMarks(t *testing.T) {
	table := compiled(t, "sunspec-battery")
	for packs := range 5 {
		blocks, errs := decode.Layout(table, &pack.Status{}, make([]pack.Status, packs))
		if len(blocks) != 1 || len(errs) > 0 {
			t.Fatalf("%d blocks, %v", len(blocks), errs)
		}
		w := blocks[0].Words
		if blocks[0].From != 40000 || w[0] != 0x5375 || w[1] != 0x6E53 {
			t.Errorf("at %d: %04X %04X, want SunS at 40000", blocks[0].From, w[0], w[1])
		}
		at := 2
		for _, want := range [][2]uint16{{1, length1}, {802, length802}, {803, uint16(length803 + packs*lengthString)}, {0xFFFF, 0}} {
			if [2]uint16{w[at], w[at+1]} != want {
				t.Errorf("%d packs: at %d id and length are %d, %d, want %d", packs, at, w[at], w[at+1], want)
			}
			at += 2 + int(want[1])
		}
		if at != len(w) {
			t.Errorf("%d packs: %d registers, want %d", packs, len(w), at)
		}
	}
}

// TestNothingKnownIsNotImplemented wants every point of a bank that knows
// nothing to say so, but for those the layout itself gives.
func TestNothingKnownIsNotImplemented(t *testing.T) {
	table := compiled(t, "sunspec-battery")
	blocks, _ := decode.Layout(table, &pack.Status{}, make([]pack.Status, 1))
	if blocks[0].Missing != nil {
		t.Error("SunSpec has a word for every unknown point, yet registers are missing")
	}
	at := 2
	for i := range table.Programs {
		p := &table.Programs[i]
		wantUnknown(t, p.Fields, blocks[0].Words[at:])
		at += p.Read.Count
		if p.Message.Each != nil {
			wantUnknown(t, p.Message.Each.Fields, blocks[0].Words[at:])
		}
	}
}

func wantUnknown(t *testing.T, fields []mapping.Field, words []uint16) {
	t.Helper()
	for i := range fields {
		f := &fields[i]
		if f.Write != nil {
			continue
		}
		want := notImplemented[f.Type.Name]
		got := uint64(words[f.At])
		if f.Type.Bits == 32 {
			got = got<<16 | uint64(words[f.At+1])
		}
		if got != want {
			t.Errorf("%s%v at %d: %X, want %X", f.Let, f.Target, f.At, got, want)
		}
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
	s.SetNumber(pack.Voltage, pack.Decimal{Coef: 80000, Exp: -2}, 1)  // 800 V in u16 at 0.01 V
	s.SetNumber(pack.Current, pack.Decimal{Coef: -32768, Exp: -1}, 1) // would be the word for "not implemented"
	blocks, errs := decode.Layout(compiled(t, "sunspec-battery"), &s, nil)
	bank := blocks[0].Words[2+2+length1:]
	if bank[34] != 0xFFFF || bank[44] != 0x8000 {
		t.Errorf("V and A are %04X and %04X, want FFFF and 8000", bank[34], bank[44])
	}
	if len(errs) != 2 {
		t.Errorf("told of %v, want voltage and current", errs)
	}
}

func TestReadModelsRefuses(t *testing.T) {
	table := compiled(t, "sunspec-battery")
	blocks, _ := decode.Layout(table, &pack.Status{}, make([]pack.Status, 2))
	whole := blocks[0].Words
	for name, words := range map[string][]uint16{
		"nothing":          nil,
		"no mark":          whole[1:],
		"mark only":        whole[:2],
		"cut in a model":   whole[:100],
		"cut in the head":  whole[:71],
		"without an end":   whole[:len(whole)-2],
		"length too large": append([]uint16{0x5375, 0x6E53, 802, 0xFFFF}, make([]uint16, 70)...),
	} {
		if _, _, err := decode.ReadModels(table, words, 1); err == nil {
			t.Errorf("%s: read without an error", name)
		}
	}
	if _, packs, err := decode.ReadModels(table, whole, 1); err != nil || len(packs) != 2 {
		t.Errorf("the whole image: %d packs, %v", len(packs), err)
	}
}
