package draft_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"packlink/fixtures/beside"
	"packlink/mapping"
	"packlink/mapping/draft"
)

const published = "../../../shared/standards/sunspec/"

// types are how this project's types carry those of SunSpec.
var types = map[string]string{
	"uint16": "u16", "enum16": "u16", "bitfield16": "u16", "pad": "u16", "count": "u16", "int16": "i16", "sunssf": "i16",
	"uint32": "u32", "bitfield32": "u32", "acc32": "u32", "int32": "i32", "uint64": "u64",
}

// TestEveryPublishedPoint drafts every model definition that is here, and holds
// place, type and power of ten of each point against the table of offsets that
// came with them (made from the same definitions, by another program).
func TestEveryPublishedPoint(t *testing.T) {
	file, err := os.Open(published + "offsets_battery_models.csv")
	if err != nil {
		beside.Missing(t, "the published definitions are not here: ", err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	compared := 0
	for _, path := range definitions(t) {
		model := strings.TrimSuffix(strings.TrimPrefix(filepath.Base(path), "model_"), ".json")
		d, err := draft.SunSpec(filepath.Base(path), read(t, path))
		if err != nil {
			t.Error(err)
			continue
		}
		checkLoads(t, d)
		message := loaded(t, d.Text).Messages[0]
		adoptedMessage := message
		if m, err := mapping.Draft("adopted.yaml", adopted(d.Text), nil); err == nil {
			adoptedMessage = m.Messages[0]
		}
		if strconv.Itoa(message.Read.Model) != model {
			t.Errorf("model %s is drafted as %d", model, message.Read.Model)
		}
		for _, row := range rows {
			if row[0] == model && row[3] != "ID" && row[3] != "L" {
				compared++
				checkPoint(t, &message, &adoptedMessage, row)
			}
		}
	}
	if compared < 150 {
		t.Errorf("only %d points are compared", compared)
	}
}

func definitions(t *testing.T) []string {
	t.Helper()
	paths, _ := filepath.Glob(published + "model_*.json")
	if len(paths) == 0 {
		beside.Missing(t, "the published definitions are not here")
	}
	return paths
}

// checkPoint holds the field of a point against its row: model, group, offset,
// name, type, size in registers, scale factor.
func checkPoint(t *testing.T, message, adopted *mapping.Message, row []string) {
	t.Helper()
	fields, others, offset := message.Fields, adopted.Fields, row[2]
	if at, inGroup := strings.CutPrefix(offset, "+"); inGroup {
		fields, others, offset = message.Each.Fields, adopted.Each.Fields, strings.TrimSuffix(at, " in block")
	}
	for i := range fields {
		if strconv.Itoa(fields[i].At) != offset {
			continue
		}
		want := types[row[4]]
		if row[4] == "string" {
			size, _ := strconv.Atoi(row[5])
			want = "text" + strconv.Itoa(2*size)
		}
		if got := fields[i].Type.Name; got != want {
			t.Errorf("model %s %s is %s, want %s", row[0], row[3], got, want)
		}
		if !strings.HasPrefix(fields[i].Let, row[3]) {
			t.Errorf("model %s %s is named %s", row[0], row[3], fields[i].Let)
		}
		if got := others[i].ScaleBy; others[i].Target != nil && got != row[6] {
			t.Errorf("model %s %s is scaled by %q, want %q", row[0], row[3], got, row[6])
		}
		return
	}
	t.Errorf("model %s: there is no field at %s for %s", row[0], row[2], row[3])
}

// invented is a model of our own: every type, groups of each kind.
const invented = `{"id": 64900, "group": {"name": "made_up", "type": "group", "points": [
	{"name": "ID", "type": "uint16", "size": 1}, {"name": "L", "type": "uint16", "size": 1},
	{"name": "V", "type": "uint16", "size": 1, "sf": "V_SF", "units": "V"}, {"name": "V_SF", "type": "sunssf", "size": 1},
	{"name": "A", "type": "int32", "size": 2, "sf": -2, "units": "A"}, {"name": "F", "type": "float32", "size": 2, "units": "W"},
	{"name": "E", "type": "acc64", "size": 4, "units": "Wh"}, {"name": "IP", "type": "ipv6addr", "size": 8},
	{"name": "N", "type": "string", "size": 40}, {"name": "Twice", "type": "raw16", "size": 1, "count": 2}],
	"groups": [
		{"name": "one", "type": "group", "points": [{"name": "W", "type": "int16", "size": 1, "sf": "W_SF", "units": "W"}, {"name": "W_SF", "type": "sunssf", "size": 1}]},
		{"name": "two", "type": "group", "count": 2, "points": [{"name": "S", "type": "enum16", "size": 1, "symbols": [{"name": "ON", "value": 1}]}]},
		{"name": "many", "type": "group", "count": "Nr", "points": [{"name": "C", "type": "int16", "size": 1, "sf": "C_SF", "units": "degC"}, {"name": "C_SF", "type": "sunssf", "size": 1}]},
		{"name": "after", "type": "group", "points": []}]}}`

func TestInventedModel(t *testing.T) {
	d, err := draft.SunSpec("made_up.json", []byte(invented))
	if err != nil {
		t.Fatal(err)
	}
	checkLoads(t, d)
	m := loaded(t, d.Text)
	for name, at := range map[string]int{"V": 2, "A": 4, "F": 6, "E": 8, "Twice": 60, "Twice_2": 61, "one_W_SF": 63, "two1_S": 64, "two2_S": 65, "C": 0, "C_SF": 1} {
		if f := field(m, "", name); f == nil || f.At != at {
			t.Errorf("%s is %+v, want it at %d\n%s", name, f, at, d.Text)
		}
	}
	if g := m.Messages[0].Each; g == nil || g.At != 66 || g.Size != 2 {
		t.Errorf("the group is %+v", m.Messages[0].Each)
	}
	for _, want := range []string{`no type for "ipv6addr"`, "this one 80", "group after: it lies behind", "its power of ten C_SF"} {
		if lost := strings.Join(d.Lost, "\n"); !strings.Contains(lost, want) || !strings.Contains(string(d.Text), want) {
			t.Errorf("%q is not told: %s", want, lost)
		}
	}
	if text := string(adopted(d.Text)); !strings.Contains(text, "scale_by: one_W_SF") || !strings.Contains(text, "scale: 0.01") {
		t.Errorf("the powers of ten are lost:\n%s", text)
	}
}

func TestSunSpecRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"":                                   "no SunSpec model definition",
		"[]":                                 "no SunSpec model definition",
		`{"id": 802}`:                        "begin with the id and the length",
		`{"id": 0, "group": {"points": []}}`: "begin with the id and the length",
		`{"id": "802"}`:                      "no SunSpec model definition",
		strings.Replace(invented, `"size": 40`, `"size": 70000`, 1):       "more than 65536 registers",
		strings.Replace(invented, `"count": 2,`, `"count": 99999999,`, 1): "more than 65536 registers",
	} {
		if _, err := draft.SunSpec("x.json", []byte(text)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%.40q: got %v, want an error that says %s", text, err, says)
		}
	}
}

// FuzzSunSpec reads any text as a model definition.
func FuzzSunSpec(f *testing.F) {
	f.Add([]byte(invented))
	f.Fuzz(func(t *testing.T, data []byte) {
		if d, err := draft.SunSpec("fuzz.json", data); err == nil {
			checkLoads(t, d)
		}
	})
}
