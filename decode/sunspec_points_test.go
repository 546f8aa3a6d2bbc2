package decode_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/fixtures/beside"
	"packlink/mapping"
)

// point is one point of the published definitions, commit 7abdf8982d53 of
// 2026-04-22, as a table that was computed from them gives it.
type point struct {
	model, group, name, kind, factor, unit string
	offset, size                           int
	inGroup                                bool
}

const publishedOffsets = "../../shared/standards/sunspec/offsets_battery_models.csv"

// publishedPoints are all points but id and length.
func publishedPoints(t *testing.T) (points []point) {
	t.Helper()
	file, err := os.Open(publishedOffsets)
	if err != nil {
		beside.Missing(t, "the published definitions are not here: ", err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		p := point{model: row[0], group: row[1], name: row[3], kind: row[4], factor: row[6], unit: row[7]}
		at, inGroup := strings.CutPrefix(row[2], "+")
		p.offset, _ = strconv.Atoi(strings.TrimSuffix(at, " in block"))
		p.size, _ = strconv.Atoi(row[5])
		p.inGroup = inGroup
		if p.name != "ID" && p.name != "L" {
			points = append(points, p)
		}
	}
	return points
}

// wireTypes are how this project's types carry the standard's.
var wireTypes = map[string]string{
	"uint16": "u16", "enum16": "u16", "pad": "u16", "int16": "i16", "sunssf": "i16",
	"uint32": "u32", "bitfield32": "u32",
}

// notImplemented are the "not implemented" values, from the SunSpec Alliance's
// reference library, commit f2ece9aac64b of 2026-04-20.
var notImplemented = map[string]uint64{
	"uint16": 0xFFFF, "enum16": 0xFFFF, "int16": 0x8000, "sunssf": 0x8000, "uint32": 0xFFFFFFFF, "bitfield32": 0xFFFFFFFF,
	"string": 0, "pad": 0,
}

// units are this project's names of the standard's units.
var units = map[string]string{"%WHRtg": "%", "Pct": "%", "C": "degC", "WH": "Wh"}

// constants are the points that the layout says always, by model and name.
var constants = map[string]uint64{
	"802 LocRemCtl": 1, "802 AlmRst": 0, "802 Typ": 4, "802 Evt2": 0, "802 EvtVnd1": 0, "802 EvtVnd2": 0,
	"803 StrNMod": 1, "804 NMod": 1, "804 ModTmpMaxMod": 1, "804 ModTmpMinMod": 1, "805 ModIdx": 1,
}

// fieldOf is the mapping's field for a point; nil if there is none.
func fieldOf(table *mapping.Compiled, p *point) *mapping.Field {
	program := modelOf(table, p.model)
	fields, offset := program.Fields, p.offset
	switch {
	case p.inGroup && program.Message.Each != nil:
		fields = program.Message.Each.Fields
	case p.inGroup && program.Message.Cells != nil:
		fields = program.Message.Cells.Fields
	case p.inGroup: // the one module of a string
		offset += 2 + length804
	}
	for i := range fields {
		if fields[i].At == offset {
			return &fields[i]
		}
	}
	return nil
}

func modelOf(table *mapping.Compiled, id string) *mapping.Program {
	for i := range table.Programs {
		if strconv.Itoa(table.Programs[i].Read.Model) == id {
			return &table.Programs[i]
		}
	}
	return nil
}

// TestEveryPoint holds the layout against the published definitions, point by
// point: place, type, name, scale factor, unit and "not implemented" value.
func TestEveryPoint(t *testing.T) {
	table := compiled(t, "sunspec-battery")
	points := publishedPoints(t)
	for i := range points {
		p := &points[i]
		if at := modelOf(table, p.model).Read.PackAt; at > 0 && at == p.offset && !p.inGroup {
			continue // the pack's number
		}
		f := fieldOf(table, p)
		if f == nil {
			t.Errorf("model %s: no field at %d for %s", p.model, p.offset, p.name)
			continue
		}
		comparePoint(t, p, f)
	}
	if len(points) != 206 {
		t.Errorf("compared %d points, want the 206 of the six models", len(points))
	}
}

func comparePoint(t *testing.T, p *point, f *mapping.Field) {
	t.Helper()
	want := wireTypes[p.kind]
	if p.kind == "string" {
		want = "text" + strconv.Itoa(2*p.size)
	}
	if got := strings.Replace(f.Type.Name, "flags", "u", 1); got != want {
		t.Errorf("model %s %s: type %s, want %s", p.model, p.name, got, want)
	}
	if f.Let != "" && f.Let != p.name {
		t.Errorf("model %s: the field at %d is named %s, want %s", p.model, p.offset, f.Let, p.name)
	}
	if f.Target != nil || f.Derive != nil {
		if f.ScaleBy != p.factor {
			t.Errorf("model %s %s: scale factor %q, want %q", p.model, p.name, f.ScaleBy, p.factor)
		}
		unit := ""
		if f.Target != nil {
			unit = f.Target.Quantity.Row().Unit
		} else {
			unit = f.Derive.Unit()
		}
		if standard, renamed := units[p.unit]; unit != p.unit && !(renamed && unit == standard) {
			t.Errorf("model %s %s: unit %q, want %q", p.model, p.name, unit, p.unit)
		}
	}
	constant, always := constants[p.model+" "+p.name]
	switch {
	case p.kind == "pad":
		always = true
	case p.kind == "string" && f.Missing == nil:
		return // NUL characters
	}
	switch {
	case always && (f.Write == nil || f.Write.Raw != constant):
		t.Errorf("model %s %s: writes %v, want %d", p.model, p.name, f.Write, constant)
	case !always && (f.Write != nil || f.Missing[0].First != notImplemented[p.kind]):
		t.Errorf("model %s %s: not implemented is %X, want %X", p.model, p.name, f.Missing, notImplemented[p.kind])
	}
}

// TestNothingKnownIsNotImplemented wants every point of a bank that knows nothing
// to say so, but for those the layout itself gives. One pack has one cell, which
// is missing.
func TestNothingKnownIsNotImplemented(t *testing.T) {
	table := compiled(t, "sunspec-battery")
	packs := make([]pack.Status, 1)
	packs[0].PutElement(pack.Cells, 0, pack.Value{Trust: pack.Missing})
	blocks, _ := decode.Layout(table, &pack.Status{}, packs)
	if blocks[0].Missing != nil {
		t.Error("SunSpec has a word for every unknown point, yet registers are missing")
	}
	starts := make(map[string]int)
	for at := 2; blocks[0].Words[at] != 0xFFFF; at += 2 + int(blocks[0].Words[at+1]) {
		starts[strconv.Itoa(int(blocks[0].Words[at]))] = at
	}
	groups := map[string]int{"803": 2 + length803, "804": 2 + length804, "805": 2 + length805}
	for _, p := range publishedPoints(t) {
		at := starts[p.model] + p.offset
		if p.inGroup {
			at += groups[p.model]
		}
		want := notImplemented[p.kind]
		if constant, always := constants[p.model+" "+p.name]; always {
			want = constant
		}
		got := uint64(0)
		for _, word := range blocks[0].Words[at : at+min(p.size, 4)] {
			got = got<<16 | uint64(word)
		}
		if texts := map[string]bool{"1 Mn": true, "1 Md": true}; !texts[p.model+" "+p.name] && !isIndex(&p) && got != want {
			t.Errorf("model %s %s at %d: %X, want %X", p.model, p.name, at, got, want)
		}
	}
}

// isIndex tells whether a point is the number of a string.
func isIndex(p *point) bool { return p.name == "Idx" || p.name == "StrIdx" }
