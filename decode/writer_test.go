package decode_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
)

const rolling = `
{name: a, can: {id: 0x100, every: 100ms}, fields: [{at: 0, as: u8, is: soc_pct}, {at: 1, bit: 4, as: u4, let: counter, rolling: true}], examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 0x101}, fields: [{at: 0, as: u8, is: soh_pct}, {at: 1, as: u16, let: counter, rolling: true, optional: true}], examples: [{hex: "", gives: {}, source: s}]}`

// TestRollingCounter holds that a counter goes up by one with each frame of its
// message, wraps, counts no frame that was not written, and is ignored on reading.
func TestRollingCounter(t *testing.T) {
	c := table(t, 11, rolling)
	w, d := decode.NewWriter(c), decode.NewDecoder(c, "test")
	var s, unknown pack.Status
	s.SetNumber(pack.SOC, pack.Int(88), 1)
	s.SetNumber(pack.SOH, pack.Int(99), 1)
	for i := range 40 {
		if err := w.Frames(&c.Programs[0], &unknown, nil); err == nil {
			t.Fatal("what is not known is written")
		}
		err := w.Frames(&c.Programs[0], &s, func(f *transport.Frame) error {
			if want := byte(i%16) << 4; f.Data[1] != want {
				t.Errorf("frame %d ends in %02X, want %02X", i, f.Data[1], want)
			}
			if f.Time = int64(i); d.Decode(f) != decode.Decoded {
				t.Errorf("frame %d is not read", i)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for i, want := range []byte{0, 1} {
		err := w.Frames(&c.Programs[1], &s, func(f *transport.Frame) error {
			if len(f.Data) != 3 || f.Data[1] != want || f.Data[2] != 0 {
				t.Errorf("frame %d of the other message is % X", i, f.Data)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

const saying = `
{name: numbers, can: {id: 0x100}, fields: [{at: 0, as: u8, is: soc_pct, missing: [255]}, {at: 1, as: u8, is: charge_current_limit_a, missing: [255]}], examples: [{hex: "", gives: {}, source: s}]},
{name: cells, can: {id: 0x101}, fields: [{at: 0, as: u16, is: "cells_v[5]", scale: 0.001, missing: [0], repeat: 4}], examples: [{hex: "", gives: {}, source: s}]},
{name: alarms, can: {id: 0x102}, fields: [{at: 0, as: flags8, alarms: {0: [other, warning]}, missing: [255]}], examples: [{hex: "", gives: {}, source: s}]},
{name: nothing, can: {id: 0x103}, fields: [{at: 0, as: u8, let: constant, write: 7}], examples: [{hex: "", gives: {}, source: s}]}`

// TestSays tells what a message says something of: a value that is known, an
// overdue permission, and not an overdue measurement, another element, or a
// constant.
func TestSays(t *testing.T) {
	c := table(t, 11, saying)
	alarm := pack.Alarm{Kind: mustAlarm(t, "other", "warning").Kind}
	for name, k := range map[string]struct {
		message int
		set     func(*pack.Status)
		want    bool
	}{
		"nothing is known":     {0, func(*pack.Status) {}, false},
		"a measurement":        {0, func(s *pack.Status) { s.SetNumber(pack.SOC, pack.Int(88), 1) }, true},
		"an overdue one":       {0, func(s *pack.Status) { s.Put(pack.SOC, pack.Value{Coef: 88, Trust: pack.Known | pack.Stale}) }, false},
		"one out of range":     {0, func(s *pack.Status) { s.Put(pack.SOC, pack.Value{Coef: 188, Trust: pack.Known | pack.Above}) }, false},
		"an overdue limit":     {0, func(s *pack.Status) { s.Put(pack.ChargeCurrentLimit, pack.Value{Trust: pack.Known | pack.Stale}) }, true},
		"a cell of it":         {1, func(s *pack.Status) { s.PutElement(pack.Cells, 7, pack.Value{Coef: 3, Trust: pack.Known}) }, true},
		"a cell before it":     {1, func(s *pack.Status) { s.PutElement(pack.Cells, 3, pack.Value{Coef: 3, Trust: pack.Known}) }, false},
		"a cell behind it":     {1, func(s *pack.Status) { s.PutElement(pack.Cells, 8, pack.Value{Coef: 3, Trust: pack.Known}) }, false},
		"alarms":               {2, func(s *pack.Status) { s.Alarms.Set(alarm, false) }, true},
		"overdue alarms":       {2, func(s *pack.Status) { s.Alarms.Set(alarm, true); s.AlarmsStale = true }, false},
		"only a constant":      {3, func(s *pack.Status) { s.SetNumber(pack.SOC, pack.Int(88), 1) }, false},
		"what others speak of": {2, func(s *pack.Status) { s.SetNumber(pack.SOC, pack.Int(88), 1) }, false},
	} {
		var s pack.Status
		k.set(&s)
		if got := decode.Says(&c.Programs[k.message], &s); got != k.want {
			t.Errorf("%s: %t, want %t", name, got, k.want)
		}
	}
}

const periods = `
{name: a, can: {id: 0x100, every: 100ms}, examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 0x101, every: 1s}, examples: [{hex: "", gives: {}, source: s}]},
{name: c, can: {id: 0x102}, examples: [{hex: "", gives: {}, source: s}]},
{name: d, can: {id: 0x103, every: 1s}, by: reader, examples: [{hex: "", gives: {}, source: s}]}`

// TestTimetable holds that each message of each pack keeps its period to the
// nanosecond, that no two of one period begin together, and that what was missed
// is not made up for.
func TestTimetable(t *testing.T) {
	c := table(t, 11, periods)
	rapid.Check(t, func(t *rapid.T) {
		packs := rapid.IntRange(1, 5).Draw(t, "packs")
		type who struct{ pack, message int }
		seen, newest := make(map[who][]time.Duration), time.Duration(0)
		tt := decode.NewTimetable(c, packs)
		for newest < 3*time.Second {
			due, n, p, ok := tt.Next()
			if !ok || due < newest {
				t.Fatalf("%v follows %v", due, newest)
			}
			newest = due
			seen[who{n, p.Index}] = append(seen[who{n, p.Index}], due)
		}
		if len(seen) != 3*packs {
			t.Fatalf("%d messages are sent, want %d", len(seen), 3*packs)
		}
		begins := make(map[time.Duration]bool)
		for w, times := range seen {
			every := []time.Duration{100 * time.Millisecond, time.Second, time.Second}[w.message]
			for i := range times {
				if times[i] != times[0]+time.Duration(i)*every || times[0] >= every {
					t.Fatalf("message %d of pack %d is due at %v", w.message, w.pack, times)
				}
			}
			if every == time.Second && begins[times[0]] {
				t.Fatalf("two messages begin at %v", times[0])
			}
			begins[times[0]] = true
		}
		late := newest + time.Duration(rapid.Int64Range(0, 1e11).Draw(t, "late"))
		tt.Skip(late)
		for range 3 * packs {
			if due, _, p, _ := tt.Next(); due < late-p.Every && p.Every > 0 {
				t.Fatalf("%s is made up for: due %v at %v", p.Name, due, late)
			}
		}
	})
}
