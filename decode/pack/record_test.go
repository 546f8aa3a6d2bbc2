package pack

import (
	"bytes"
	"encoding/json"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// fields reads a record back with encoding/json.
func fields(t rapid.TB, record []byte) map[string]any {
	t.Helper()
	value, err := parseJSON(record)
	if err != nil {
		t.Fatal(err)
	}
	return value.(map[string]any)
}

// The instant and the keys are written out by hand: DESIGN.md, section 3.
func TestRecord(t *testing.T) {
	s := &Status{Time: 1_780_000_000_500_000_000, Now: 1_780_000_001_600_000_001, Source: "shed", Mapping: "bench", Address: 3, HasAddress: true}
	s.PutText(Maker, []byte("North\x00\x00"), Value{Trust: Known})
	s.SetNumber(Voltage, Decimal{5280, -2}, 1)
	s.SetNumber(Current, Decimal{-61000, -3}, 1)
	s.Put(SOC, Value{Coef: 101, Trust: Known | Above})
	s.Put(SOH, Value{Coef: 99, Trust: Known | Stale})
	s.Put(Cycles, Value{Coef: 12, Trust: Stale})
	s.PutElement(Cells, 0, Value{Coef: 3301, Exp: -3, Trust: Known})
	s.PutElement(Cells, 2, Value{Coef: -1, Exp: -3, Trust: Known | Below | Stale})
	s.PutElement(Cells, 3, Value{Coef: 9999, Exp: -3, Trust: Known | Above})
	s.PutElement(Balancing, 1, Value{Coef: 1, Trust: Known})
	s.PutElement(Temps, 1, Value{Coef: 215, Exp: -1, Trust: Known | Below})
	s.SetFlag(ChargeAllowed, true, 1)
	s.SetFlag(DischargeAllowed, false, 1)
	overvoltage, _ := ParseAlarm("cell_overvoltage", "protection")
	s.Alarms.Set(overvoltage, true)
	s.AlarmsStale = true
	const want = `{"time":"2026-05-28T20:26:40.5Z","source":"shed","address":3,"mapping":"bench","maker":"North",` +
		`"voltage_v":52.8,"current_a":-61,"soc_pct":101,"soh_pct":99,"cells_v":[3.301,null,-0.001,9.999],"balancing":[null,true],` +
		`"temps_c":[null,21.5],"charge_allowed":true,"discharge_allowed":false,` +
		`"alarms":[{"kind":"cell_overvoltage","level":"protection"}],"stale":["soh_pct","cycles","cells_v","alarms"],` +
		`"suspect":[{"key":"soc_pct","why":"above the mapping's plausible range"},` +
		`{"key":"cells_v","why":"outside the mapping's plausible range"},{"key":"temps_c","why":"below the mapping's plausible range"}],` +
		`"age_s":1.1}`
	if got := string(s.AppendJSON(nil)); got != want {
		t.Errorf("the record is\n%s, want\n%s", got, want)
	}
	if got := string(s.AppendJSON([]byte("before "))); got != "before "+want {
		t.Errorf("the record is not appended: %s", got)
	}
}

// Unknown is absent, never 0: DESIGN.md, section 3.
func TestRecordOfNothing(t *testing.T) {
	for want, s := range map[string]Status{
		`{"source":"","mapping":""}`:                                                   {Now: 5},
		`{"source":"","mapping":"","alarms":[]}`:                                       {Alarms: AlarmSet{Known: 1}},
		`{"source":"","mapping":"","stale":["alarms"]}`:                                {AlarmsStale: true},
		`{"source":"","address":0,"mapping":""}`:                                       {HasAddress: true},
		`{"time":"1969-12-31T23:59:59.999999999Z","source":"","mapping":"","age_s":0}`: {Time: -1},
		`{"time":"1970-01-01T00:00:00.000000002Z","source":"","mapping":"","age_s":0}`: {Time: 2, Now: 1},
	} {
		if got := string(s.AppendJSON(nil)); got != want {
			t.Errorf("the record is %s, want %s", got, want)
		}
	}
}

// drawStatus makes a status with any values in any trust.
func drawStatus(t *rapid.T) *Status {
	s := &Status{
		Time: rapid.Int64().Draw(t, "time"), Source: drawText(t, "source"), Mapping: drawText(t, "mapping"),
		Address: rapid.Uint32().Draw(t, "address"), HasAddress: rapid.Bool().Draw(t, "has address"),
		Alarms:      AlarmSet{Known: drawAlarms(t, "known"), Active: drawAlarms(t, "active")},
		AlarmsStale: rapid.Bool().Draw(t, "alarms stale"),
	}
	s.Now = s.Time
	for range rapid.IntRange(0, 12).Draw(t, "quantities") {
		q := Quantity(rapid.IntRange(0, int(Count)-1).Draw(t, "q"))
		switch kind := q.Row().Kind; {
		case kind.List():
			s.PutElement(q, rapid.IntRange(-1, q.Row().Max).Draw(t, "i"), drawValue(t, kind == Flags))
		case kind == Word:
			p := Piece{rapid.IntRange(-1, MaxText+1).Draw(t, "from"), rapid.Uint64().Draw(t, "all"), rapid.Int64Range(0, 1<<40).Draw(t, "lasts")}
			s.PutPiece(q, &p, rapid.SliceOfN(rapid.Byte(), 0, 60).Draw(t, "part"), drawValue(t, false))
		default:
			s.Put(q, drawValue(t, kind == Flag))
		}
	}
	return s
}

func drawText(t *rapid.T, name string) string {
	return rapid.OneOf(rapid.String(), rapid.Map(rapid.SliceOf(rapid.Byte()), func(b []byte) string { return string(b) })).Draw(t, name)
}

func drawAlarms(t *rapid.T, name string) uint64 {
	return rapid.Uint64Range(0, 1<<(2*len(alarmKinds))-1).Draw(t, name)
}

func drawValue(t *rapid.T, flag bool) Value {
	v := Value{Trust: Trust(rapid.IntRange(0, 15).Draw(t, "trust"))}
	if v.Coef = rapid.Int64Range(0, 1).Draw(t, "flag"); !flag {
		d := drawDecimal(t, "value")
		v.Coef, v.Exp = d.Coef, d.Exp
	}
	return v
}

// asGo is the text that encoding/json makes of s and reads again.
func asGo(s string) string { return string([]rune(s)) }

// expected is a status' record as encoding/json would read it, told the plain way.
func expected(s *Status) map[string]any {
	m := map[string]any{"source": asGo(s.Source), "mapping": asGo(s.Mapping)}
	if s.Time != 0 {
		m["time"], m["age_s"] = time.Unix(0, s.Time).UTC().Format(time.RFC3339Nano), json.Number("0")
	}
	if s.HasAddress {
		m["address"] = json.Number(Int(int64(s.Address)).String())
	}
	stale, suspect := []any{}, []any{}
	for q := range Count {
		if s.Has(q) {
			m[q.String()] = expectedValue(s, q)
		}
		if s.Stale(q) {
			stale = append(stale, q.String())
		}
		if why := expectedDoubt(s, q); why != "" {
			suspect = append(suspect, map[string]any{"key": q.String(), "why": why + " the mapping's plausible range"})
		}
	}
	if s.AlarmsStale {
		stale = append(stale, "alarms")
	}
	if s.Alarms.Known != 0 {
		m["alarms"] = expectedAlarms(s.Alarms)
	}
	for key, list := range map[string][]any{"stale": stale, "suspect": suspect} {
		if len(list) > 0 {
			m[key] = list
		}
	}
	return m
}

func expectedValue(s *Status, q Quantity) any {
	one := func(v Value, flag bool) any {
		if flag {
			return v.Coef != 0
		}
		return json.Number(v.Decimal().String())
	}
	switch kind := q.Row().Kind; {
	case kind == Word:
		return asGo(s.Text(q))
	case kind.List():
		list := []any{}
		for _, v := range s.Elements(q) {
			if v.Trust&Known == 0 {
				list = append(list, nil)
				continue
			}
			list = append(list, one(v, kind == Flags))
		}
		return list
	default:
		return one(s.Value(q), kind == Flag)
	}
}

func expectedDoubt(s *Status, q Quantity) string {
	values := []Value{s.Value(q)}
	if q.Row().Kind.List() {
		values = s.Elements(q)
	}
	below := slices.ContainsFunc(values, func(v Value) bool { return v.Trust&Below != 0 })
	above := slices.ContainsFunc(values, func(v Value) bool { return v.Trust&Above != 0 })
	switch {
	case below && above:
		return "outside"
	case below:
		return "below"
	case above:
		return "above"
	}
	return ""
}

func expectedAlarms(set AlarmSet) []any {
	list := []any{}
	for k, kind := range AlarmKinds() {
		for l, level := range AlarmLevels() {
			if active, _ := set.State(Alarm{AlarmKind(k), AlarmLevel(l)}); active {
				list = append(list, map[string]any{"kind": kind, "level": level})
			}
		}
	}
	return list
}

func TestRecordIsWhatEncodingJSONReads(t *testing.T) {
	v := newValidator(t, Schema())
	rapid.Check(t, func(t *rapid.T) {
		s := drawStatus(t)
		record := s.AppendJSON(nil)
		if diff := cmp.Diff(expected(s), fields(t, record)); diff != "" {
			t.Fatalf("the record differs (-want +got):\n%s", diff)
		}
		if err := v.validate(record); err != nil && !holdsBankKeys(s) {
			t.Fatalf("the schema refuses %s: %v", record, err)
		}
	})
}

// holdsBankKeys tells whether a status holds what only a bank's record may.
func holdsBankKeys(s *Status) bool {
	for q := range Count {
		if q.Row().Group == bankGroup && s.Has(q) {
			return true
		}
	}
	return false
}

// RFC 8259, section 7 "Strings": quotation mark, reverse solidus and the control
// characters U+0000 to U+001F must be escaped; anything else may stand as it is.
// Section 8.1 wants UTF-8.
func TestTextIsEscaped(t *testing.T) {
	for c := range 256 {
		for _, text := range []string{string([]byte{byte(c)}), string(rune(c)), "a" + string([]byte{byte(c)}) + "b", string([]byte{0xC3, byte(c)})} {
			quoted := AppendText(nil, text)
			var got string
			if err := json.Unmarshal(quoted, &got); err != nil || got != asGo(text) {
				t.Errorf("%q is written %q, and read %q, %v", text, quoted, got, err)
			}
			if bytes.ContainsFunc(quoted, func(r rune) bool { return r < 0x20 || r == 0x7F }) {
				t.Errorf("%q is written with a control character: %q", text, quoted)
			}
		}
	}
	for text, want := range map[string]string{
		`a"b\c/d`:                `"a\"b\\c/d"`,
		"\x00\x1f\n\x7f":         `"\u0000\u001f\u000a\u007f"`,
		"Gar\u00e4ge \U0001F50B": "\"Gar\u00e4ge \U0001F50B\"", // beyond the Basic Multilingual Plane too
		"\xff":                   "\"\uFFFD\"",
		"\xed\xa0\x80":           "\"\uFFFD\uFFFD\uFFFD\"", // a lone surrogate
		"\xc0\x80":               "\"\uFFFD\uFFFD\"",       // an over-long NUL
		"\xf4\x90\x80\x80":       "\"\uFFFD\uFFFD\uFFFD\uFFFD\"",
		"\xe2\x82":               "\"\uFFFD\uFFFD\"", // cut
	} {
		if got := string(AppendText(nil, text)); got != want {
			t.Errorf("%q is written %s, want %s", text, got, want)
		}
		if got := string(AppendText(nil, []byte(text))); got != want {
			t.Errorf("%q as bytes is written %s, want %s", text, got, want)
		}
	}
}

func TestRecordDoesNotAllocate(t *testing.T) {
	suspect := fullStatus()
	suspect.Place(SOC).Trust |= Above
	suspect.AlarmsStale = true
	suspect.PutText(Serial, []byte("\xff\"\xc3\xa4"), Value{Trust: Known | Stale})
	for _, s := range []*Status{new(Status), fullStatus(), suspect} {
		room := make([]byte, 0, 64<<10)
		if n := testing.AllocsPerRun(100, func() { room = s.AppendJSON(room[:0]) }); n != 0 {
			t.Errorf("%v allocations for a record of %d bytes, want 0", n, len(room))
		}
	}
}
