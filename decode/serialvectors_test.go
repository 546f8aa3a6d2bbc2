package decode_test

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// serialVector is a file of fixtures/serial: bytes of a serial line, and what
// becomes of them.
type serialVector struct {
	mapping string
	expect  string
	counts  string
	gives   string
	line    []byte
}

func readSerialVector(t *testing.T, path string) (v serialVector) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	keys := map[string]*string{"mapping": &v.mapping, "expect": &v.expect, "counts": &v.counts, "gives": &v.gives, "what": new(string), "source": new(string)}
	for _, line := range strings.Split(strings.TrimSpace(string(data)), "\n") {
		key, value, _ := strings.Cut(line, ":")
		switch to := keys[key]; {
		case strings.HasPrefix(line, "  "):
			v.line = append(v.line, lineBytes(t, strings.TrimSpace(line))...)
		case to != nil:
			*to = strings.TrimSpace(value)
		case key != "line":
			t.Fatalf("%s: unknown header %q", path, key)
		}
	}
	if v.mapping == "" || v.expect == "" || v.counts == "" || v.gives == "" || len(v.line) == 0 {
		t.Fatalf("%s: mapping, expect, line, counts or gives is missing", path)
	}
	return v
}

// lineBytes are bytes in hex, or a text in quotes.
func lineBytes(t *testing.T, text string) []byte {
	t.Helper()
	if quoted, err := strconv.Unquote(text); err == nil {
		return []byte(quoted)
	}
	data, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	return data
}

// serialTable is a mapping of the library, or one under fixtures/mapping/good.
func serialTable(t testing.TB, name string) *mapping.Compiled {
	t.Helper()
	path := "../fixtures/mapping/good/" + name + ".yaml"
	if _, err := os.Stat(path); err != nil {
		path = "../mapping/library/" + name + ".yaml"
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	m, err := mapping.Load(path, data, nil)
	if err != nil {
		t.Fatal(err)
	}
	c, err := mapping.Compile(m)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// counted are the counts of a line that are not 0, by name.
func counted(d *decode.Decoder) map[string]uint64 {
	c, all := d.LineCounters(), map[string]uint64{}
	for name, n := range map[string]uint64{
		"questions": c.Requests, "repeated": c.Repeated, "unanswered": c.Unanswered, "answers": c.Answers, "unasked": c.Unasked,
		"bad-checksum": c.BadChecksum, "bad-length": c.BadLength, "half": c.Half, "other": c.Other, "noise": c.Noise,
	} {
		all[name] = n
	}
	counters := d.Counters()
	for _, o := range decode.Outcomes() {
		all[o.String()] = counters[o]
	}
	maps.DeleteFunc(all, func(_ string, n uint64) bool { return n == 0 })
	return all
}

// heardInPieces decodes a line in pieces of up to so many bytes.
func heardInPieces(c *mapping.Compiled, line []byte, most int) *decode.Decoder {
	d, random := decode.NewDecoder(c, "line"), rand.New(rand.NewPCG(1, uint64(most)))
	for rest := line; len(rest) > 0; {
		n := min(1+random.IntN(most), len(rest))
		d.Decode(&transport.Frame{Time: second, Medium: transport.Serial, Data: rest[:n]})
		rest = rest[n:]
	}
	return d
}

// records are the records of all packs, without the times.
func records(t testing.TB, d *decode.Decoder) (all []map[string]any) {
	var s pack.Status
	for i := range d.Packs() {
		d.Status(i, second, &s)
		record := make(map[string]any)
		if err := json.Unmarshal(s.AppendJSON(nil), &record); err != nil {
			t.Fatal(err)
		}
		for _, key := range []string{"time", "source", "mapping", "age_s"} {
			delete(record, key)
		}
		all = append(all, record)
	}
	return all
}

// TestSerialVectors decodes every vector in one piece, byte by byte, and in
// pieces of many sizes, with the same result.
func TestSerialVectors(t *testing.T) {
	paths, _ := filepath.Glob("../fixtures/serial/*.txt")
	if len(paths) == 0 {
		t.Fatal("fixtures/serial is empty")
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			v := readSerialVector(t, path)
			table := serialTable(t, v.mapping)
			want := map[string]uint64{}
			if err := json.Unmarshal([]byte(v.counts), &want); err != nil {
				t.Fatalf("counts: %v", err)
			}
			if v.expect != "ok" && want[v.expect] == 0 {
				t.Errorf("what is expected, %s, is not among the counts", v.expect)
			}
			for _, most := range []int{len(v.line), 1, 2, 5, 17} {
				d := heardInPieces(table, v.line, most)
				if got := counted(d); !reflect.DeepEqual(got, want) {
					t.Errorf("in pieces of %d: counted %v, want %v", most, got, want)
				}
				v.compare(t, d)
			}
		})
	}
}

func (v *serialVector) compare(t *testing.T, d *decode.Decoder) {
	t.Helper()
	var want []map[string]any
	if v.gives != "none" {
		if err := json.Unmarshal([]byte(v.gives), &want); err != nil {
			t.Fatalf("gives: %v", err)
		}
	}
	if got := records(t, d); len(got) != len(want) || len(got) > 0 && !reflect.DeepEqual(got, want) {
		t.Errorf("the records are %s, want %s", shownAll(got), v.gives)
	}
}

func shownAll(records []map[string]any) string {
	text, err := json.Marshal(records)
	if err != nil {
		return fmt.Sprint(err)
	}
	return string(text)
}
