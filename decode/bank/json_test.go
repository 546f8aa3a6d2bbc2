package bank

import (
	"bytes"
	"encoding/json"
	"fmt"
	"testing"

	"packlink/decode/pack"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// fields reads a record back with encoding/json, numbers as they are written.
func fields(t rapid.TB, record []byte) map[string]any {
	t.Helper()
	var m map[string]any
	d := json.NewDecoder(bytes.NewReader(record))
	d.UseNumber()
	if err := d.Decode(&m); err != nil || d.More() {
		t.Fatalf("not one JSON object: %v: %s", err, record)
	}
	return m
}

// The keys are those of DESIGN.md, section 3 "Neutral status", bank record.
func TestRecord(t *testing.T) {
	packs := []pack.Status{
		heard(t, "left", 1, facts{pack.Voltage: "52.8", pack.Current: "-10", pack.SOC: "80"}),
		heard(t, "shed", 0, facts{pack.Voltage: "52.82", pack.Current: "-30", pack.SOC: "90"}),
	}
	packs[0].Alarms.Set(pack.Alarm{}, true)
	got := fields(t, Sum("boathouse", pack.Int(200), now, packs).AppendJSON(nil))
	want := fields(t, []byte(`{
		"time": "2023-11-14T22:13:19Z", "bank": "boathouse", "packs": 2, "packs_fresh": 2,
		"voltage_v": 52.81, "current_a": -40, "power_w": -2112.6, "soc_pct": 85, "nominal_ah": 200,
		"alarms": [{"kind": "cell_overvoltage", "level": "warning"}], "age_s": 1,
		"shares": [
			{"source": "left", "address": 1, "current_a": -10, "share_pct": 25},
			{"source": "shed", "current_a": -30, "share_pct": 75}]}`))
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("the record differs (-want +got):\n%s", diff)
	}
}

func TestRecordOfNothing(t *testing.T) {
	got := string(Sum("boathouse", pack.Decimal{}, now, nil).AppendJSON(nil))
	want := `{"bank":"boathouse","packs":0,"packs_fresh":0,"charge_current_limit_a":0,"discharge_current_limit_a":0,` +
		`"charge_allowed":false,"discharge_allowed":false,"shares":[]}`
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestRecordRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := Sum(rapid.String().Draw(t, "name"), pack.Decimal{}, now, drawPacks(t))
		m := fields(t, b.AppendJSON(nil))
		if m["bank"] != b.Name {
			t.Fatalf("the name %q became %q", b.Name, m["bank"])
		}
		for q := range pack.Count {
			got := ""
			if v, ok := m[q.String()]; ok {
				got = fmt.Sprint(v)
			}
			if want := shown(&b.Whole, q); got != want {
				t.Fatalf("%v is %q in the record, want %q", q, got, want)
			}
		}
		for i, share := range m["shares"].([]any) {
			checkShare(t, share.(map[string]any), b.Shares[i])
		}
	})
}

func checkShare(t *rapid.T, got map[string]any, s Share) {
	want := map[string]any{"source": s.Source, "address": json.Number(fmt.Sprint(s.Address))}
	if s.Current.Trust != 0 {
		want["current_a"] = json.Number(s.Current.Decimal().String())
	}
	if s.Percent.Trust != 0 {
		want["share_pct"] = json.Number(s.Percent.Decimal().String())
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Fatalf("the share differs (-want +got):\n%s", diff)
	}
}

// Any name at all gives a valid record (RFC 8259, section 7 "Strings").
func FuzzNames(f *testing.F) {
	for _, name := range []string{"boathouse", "", `"`, `\`, "\x00", "\x7f", "\xff", "Gar\u00e4ge", "\u2028", "</script>", "a\nb"} {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		packs := []pack.Status{{Source: name, Now: now}}
		record := Sum(name, pack.Decimal{}, now, packs).AppendJSON(nil)
		quoted, _ := json.Marshal(name)
		var want string
		_ = json.Unmarshal(quoted, &want) // bytes that are not UTF-8 are replaced
		if m := fields(t, record); m["bank"] != want || m["shares"].([]any)[0].(map[string]any)["source"] != want {
			t.Errorf("the name %q became %s", name, record)
		}
		if bytes.ContainsAny(record, "\n\r") {
			t.Errorf("the record is not one line: %q", record)
		}
	})
}

func TestRecordDoesNotAllocate(t *testing.T) {
	b := Sum("Gar\u00e4ge", pack.Int(200), now, filled(t, 16))
	room := make([]byte, 0, 16<<10)
	if n := testing.AllocsPerRun(100, func() { room = b.AppendJSON(room[:0]) }); n != 0 {
		t.Errorf("%v allocations for a record, want 0", n)
	}
}
