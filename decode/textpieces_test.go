package decode_test

import (
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
)

// TestTextInSeveralMessages holds that a text whose pieces come in messages of their own
// is never shown in part.
func TestTextInSeveralMessages(t *testing.T) {
	c := table(t, 11, `
{name: a, can: {id: 0x100, every: 1s}, fields: [{at: 0, as: text8, is: "serial[1]"}], examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 0x101, every: 1s}, fields: [{at: 0, as: text4, is: "serial[9]"}], examples: [{hex: "", gives: {}, source: s}]}`)
	d := decode.NewDecoder(c, "test")
	for i, step := range []struct {
		id   uint32
		data string
		want string
	}{
		{0x101, "IJKL", ""},
		{0x100, "ABCDEFGH", "ABCDEFGHIJKL"},
		{0x100, "ABCDEFGH", "ABCDEFGHIJKL"},
		{0x101, "IJ\x00\x00", ""}, // another pack's
		{0x100, "XBCDEFGH", "XBCDEFGHIJ"},
		{0x100, "XB\x00\x00\x00\x00\x00\x00", "XB"},
		{0x100, "\x00\x00\x00\x00\x00\x00\x00\x00", ""},
		{0x101, "IJKL", ""},
		{0x100, "ABCDEFGH", ""},
		{0x101, "IJKL", "ABCDEFGHIJKL"},
	} {
		at := int64(i + 1)
		if d.Decode(&transport.Frame{Medium: transport.CAN, ID: step.id, Data: []byte(step.data), Time: at}) != decode.Decoded {
			t.Fatalf("step %d is not read", i)
		}
		var s pack.Status
		d.Status(0, at, &s)
		if got := s.Text(pack.Serial); got != step.want || s.Has(pack.Serial) != (got != "") {
			t.Errorf("step %d: the serial number is %q, known: %v; want %q", i, got, s.Has(pack.Serial), step.want)
		}
	}
}

// TestPieceThatIsOverdue holds that a text is overdue with the first of its pieces,
// however often the others come, and that a piece which is overdue completes no text.
func TestPieceThatIsOverdue(t *testing.T) {
	c := table(t, 11, `
{name: a, can: {id: 0x100, every: 1s}, fields: [{at: 0, as: text8, is: "serial[1]"}], examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 0x101, every: 1s}, fields: [{at: 0, as: text4, is: "serial[9]"}], examples: [{hex: "", gives: {}, source: s}]}`)
	for _, silence := range []int64{1, 4} {
		d := decode.NewDecoder(c, "test")
		hear := func(id uint32, data string, second int64) {
			d.Decode(&transport.Frame{Medium: transport.CAN, ID: id, Data: []byte(data), Time: second * 1e9})
		}
		hear(0x101, "IJKL", 0)
		for second := silence; second <= 3600; second++ {
			hear(0x100, "ABCDEFGH", second)
			var s pack.Status
			d.Status(0, second*1e9, &s)
			known, stale := silence <= 3, silence <= 3 && second > 3
			if s.Has(pack.Serial) != known || s.Stale(pack.Serial) != stale {
				t.Fatalf("after %d s the serial number is %q, overdue: %v; want known: %v, overdue: %v", second, s.Text(pack.Serial), s.Stale(pack.Serial), known, stale)
			}
		}
	}
}

// TestPieceThatIsLeftOff holds that a payload which lacks a piece makes its text unknown,
// until the piece comes again.
func TestPieceThatIsLeftOff(t *testing.T) {
	c := table(t, 11, `
{name: a, can: {id: 0x100, every: 1s}, fields: [{at: 0, as: text2, is: "serial[1]"}], examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 0x101, every: 1s}, length: [1, 3], fields: [{at: 0, as: u8, is: soc_pct}, {at: 1, as: text2, is: "serial[3]", optional: true}], examples: [{hex: "", gives: {}, source: s}]}`)
	d := decode.NewDecoder(c, "test")
	for i, step := range []struct {
		id   uint32
		data string
		want string
	}{
		{0x101, "\x10CD", ""}, {0x100, "AB", "ABCD"}, {0x101, "\x10", ""}, {0x100, "AB", ""}, {0x101, "\x10CD", "ABCD"},
	} {
		if d.Decode(&transport.Frame{Medium: transport.CAN, ID: step.id, Data: []byte(step.data), Time: int64(i)}) != decode.Decoded {
			t.Fatalf("step %d is not read", i)
		}
		var s pack.Status
		d.Status(0, int64(i), &s)
		if got := s.Text(pack.Serial); got != step.want {
			t.Errorf("step %d: the serial number is %q, want %q", i, got, step.want)
		}
	}
}
