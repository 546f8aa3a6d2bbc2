package decode_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
	"packlink/transport/capture"
)

// vector is a file of fixtures/frames.
type vector struct {
	mapping string
	expect  string
	now     string
	log     string
	gives   string
}

func readVector(t *testing.T, path string) (v vector) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	keys := map[string]*string{"mapping": &v.mapping, "expect": &v.expect, "now": &v.now, "gives": &v.gives, "what": new(string), "source": new(string)}
	for _, line := range strings.Split(strings.TrimSpace(string(data)), "\n") {
		key, value, _ := strings.Cut(line, ":")
		switch to := keys[key]; {
		case strings.HasPrefix(line, "  "):
			v.log += strings.TrimSpace(line) + "\n"
		case to != nil:
			*to = strings.TrimSpace(value)
		case key != "frames":
			t.Fatalf("%s: unknown header %q", path, key)
		}
	}
	if v.mapping == "" || v.expect == "" || v.log == "" || v.gives == "" {
		t.Fatalf("%s: mapping, expect, frames or gives is missing", path)
	}
	return v
}

// TestVectors takes every vector through every door: a text log, a pcapng
// recording, the record, registers, and the way back to frames.
func TestVectors(t *testing.T) {
	paths, _ := filepath.Glob("../fixtures/frames/*.txt")
	if len(paths) == 0 {
		t.Fatal("fixtures/frames is empty")
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			v := readVector(t, path)
			table := compiled(t, v.mapping)
			frames := readLog(t, v.log)
			for door, frames := range map[string][]transport.Frame{"text log": frames, "pcapng": throughRecording(t, frames)} {
				d := decode.NewDecoder(table, "bus")
				var last decode.Outcome
				for i := range frames {
					last = outcomeOf(d, &frames[i])
				}
				v.check(t, door, d, last, frames[len(frames)-1].Time)
			}
		})
	}
}

// outcomeOf decodes a frame and says what became of it, by the counters.
func outcomeOf(d *decode.Decoder, f *transport.Frame) decode.Outcome {
	before := d.Counters()
	d.Decode(f)
	after := d.Counters()
	for _, o := range decode.Outcomes() {
		if after[o] != before[o] {
			return o
		}
	}
	panic("a frame is not counted")
}

func (v *vector) check(t *testing.T, door string, d *decode.Decoder, last decode.Outcome, now int64) {
	t.Helper()
	outcome := v.expect
	if v.expect == "stale" || v.expect == "silent" || v.expect == "ok" {
		outcome = "decoded"
	}
	if last.String() != outcome {
		t.Errorf("%s: the last frame is %v, want %s", door, last, outcome)
	}
	if v.gives == "none" {
		if d.Packs() != 0 {
			t.Errorf("%s: a frame that is refused made a pack", door)
		}
		return
	}
	if v.now != "" {
		seconds, err := pack.ParseDecimal(v.now)
		if err != nil {
			t.Fatal(err)
		}
		now, _ = seconds.Rescale(-9)
	}
	var s pack.Status
	fresh := d.Status(0, now, &s)
	if fresh == (v.expect == "silent") {
		t.Errorf("%s: the pack is fresh: %v", door, fresh)
	}
	v.compare(t, door, &s)
	if v.expect == "ok" && !s.Suspect() {
		wayBack(t, compiled(t, v.mapping), &s)
	}
	registers(t, &s)
}

// compare holds a status' record against what the vector gives.
func (v *vector) compare(t *testing.T, door string, s *pack.Status) {
	t.Helper()
	got := members(t, s.AppendJSON(nil))
	if age, want := fmt.Sprint(got["age_s"]), (pack.Decimal{Coef: (s.Now - s.Time) / 1e6, Exp: -3}).String(); age != want || got["time"] == nil {
		t.Errorf("%s: time %v and age %s, want an age of %s", door, got["time"], age, want)
	}
	for _, key := range []string{"time", "source", "mapping", "age_s"} {
		delete(got, key)
	}
	want := members(t, []byte(v.gives))
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s: the record is\n  %s, want\n  %s", door, shown(got), shown(want))
	}
}

func members(t *testing.T, text []byte) map[string]any {
	t.Helper()
	m := make(map[string]any)
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.UseNumber() // the digits count, not the float
	if err := decoder.Decode(&m); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
	return m
}

func shown(m map[string]any) string {
	text, _ := json.Marshal(m)
	return string(text)
}

// wayBack writes every message that the status can fill, reads it again, and
// wants the same values.
func wayBack(t *testing.T, table *mapping.Compiled, s *pack.Status) {
	t.Helper()
	d := decode.NewDecoder(table, "bus")
	var wrote []*mapping.Program
	for i := range table.Programs {
		p := &table.Programs[i]
		outcome := decode.Unknown
		err := decode.NewWriter(table).Frames(p, s, func(f *transport.Frame) error {
			f.Time = s.Time
			outcome = outcomeOf(d, f)
			return nil
		})
		if err != nil || p.ByReader {
			continue
		}
		wrote = append(wrote, p)
		if outcome != decode.Decoded {
			t.Errorf("message %s is written and read as %v", p.Name, outcome)
		}
	}
	if len(wrote) == 0 {
		if s.Has(pack.SOC) && s.Has(pack.SOH) || s.Has(pack.Cells) {
			t.Error("nothing can be written of a pack that gives a whole message")
		}
		return
	}
	var again pack.Status
	d.Status(0, s.Time, &again)
	for _, p := range wrote {
		for i := range p.Body.All {
			if op := &p.Body.All[i]; op.Target != nil && !op.Optional && s.Has(op.Quantity) && !again.Has(op.Quantity) {
				t.Errorf("%s is lost on the way back through %s", op.Quantity, p.Name)
			}
		}
	}
	for q := range pack.Count {
		if again.Has(q) && !q.Row().Kind.List() && again.Value(q).Decimal().Cmp(s.Value(q).Decimal()) != 0 {
			t.Errorf("%s: written %s, read %s", q, s.Value(q).Decimal(), again.Value(q).Decimal())
		}
	}
}

// registers shows the pack as a SunSpec string and wants each value, or the
// word that says it is not implemented.
func registers(t *testing.T, s *pack.Status) {
	t.Helper()
	table := compiled(t, "sunspec-battery")
	blocks, errs := decode.Layout(table, s, []pack.Status{*s})
	if len(errs) > 0 && !s.Suspect() {
		t.Errorf("%v", errs)
	}
	if packs := readImage(table, blocks[0], 1); len(packs) != 1 {
		t.Fatalf("%d packs", len(packs))
	}
	blocks, _ = decode.Layout(table, s, nil)
	whole := readImage(table, blocks[0], 1)[0]
	for _, q := range []pack.Quantity{pack.Voltage, pack.Current, pack.SOC, pack.CellMax, pack.ChargeCurrentLimit} {
		want, usable := s.Usable(q)
		got, has := whole.Usable(q)
		if has != usable || usable && got.Cmp(want) != 0 {
			t.Errorf("%s: registers give %s (%v), want %s (%v)", q, got, has, want, usable)
		}
	}
}

var tables = map[string]*mapping.Compiled{}

func compiled(t *testing.T, name string) *mapping.Compiled {
	t.Helper()
	if tables[name] == nil {
		table, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		tables[name] = table
	}
	return tables[name]
}

func readLog(t *testing.T, log string) []transport.Frame {
	t.Helper()
	r, err := capture.NewReader(strings.NewReader(log), "vector")
	if err != nil {
		t.Fatal(err)
	}
	return readAll(t, r)
}

func readAll(t *testing.T, r *capture.Reader) (frames []transport.Frame) {
	t.Helper()
	var f transport.Frame
	for {
		err := r.Receive(&f)
		if err == io.EOF && len(frames) > 0 {
			return frames
		}
		if err != nil {
			t.Fatalf("after %d frames: %v", len(frames), err)
		}
		f.Data = bytes.Clone(f.Data)
		frames = append(frames, f)
	}
}

// throughRecording writes frames to a pcapng recording and reads them again.
func throughRecording(t *testing.T, frames []transport.Frame) []transport.Frame {
	t.Helper()
	var file bytes.Buffer
	w, err := capture.NewWriter(&file, capture.Bus{Name: "can0", Medium: transport.CAN})
	if err != nil {
		t.Fatal(err)
	}
	for i := range frames {
		if err := w.Send(&frames[i]); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	r, err := capture.NewReader(&file, "recording")
	if err != nil {
		t.Fatal(err)
	}
	again := readAll(t, r)
	if len(again) != len(frames) {
		t.Fatal(fmt.Errorf("%d frames went into the recording, %d came out", len(frames), len(again)))
	}
	return again
}
