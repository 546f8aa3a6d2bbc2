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
