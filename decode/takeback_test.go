package decode_test

import (
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
)

const twoSayIt = `
{name: a, can: {id: 1}, fields: [{at: 0, as: u8, is: soc_pct}, {at: 1, as: u8, is: charge_allowed, values: {1: true, 2: false}}, {at: 2, as: text4, is: serial}], examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 2}, length: [1, 8], fields: [{at: 0, as: u8, is: soc_pct, missing: [0xFF]}, {at: 1, as: u8, is: charge_allowed, values: {1: true, 2: false}, optional: true}, {at: 2, as: text4, is: serial, optional: true}], examples: [{hex: "", gives: {}, source: s}]},
{name: c, can: {id: 3}, fields: [{at: 1, as: i8, let: power, missing: [0x80]}, {at: 0, as: u8, is: soc_pct, scale_by: power}], examples: [{hex: "", gives: {}, source: s}]}`

// TestNotKnowingTakesBackOnlyItsOwn holds that a message which does not know a value
// takes back what it said of it itself, and nothing that another message says.
func TestNotKnowingTakesBackOnlyItsOwn(t *testing.T) {
	a, b := []byte{88, 1, 'a', 'b', 'c', 'd'}, []byte{90, 2, 'e', 'f', 'g', 'h'}
	lacking := []byte{0xFF, 0, 0, 0, 0, 0}
	type sent struct {
		id   uint32
		data []byte
	}
	for name, c := range map[string]struct {
		sent         []sent
		soc, allowed int64 // -1: not known
		serial       string
	}{
		"the other does not know":             {[]sent{{1, a}, {2, lacking}}, 88, 1, "abcd"},
		"the other is too short":              {[]sent{{1, a}, {2, lacking[:1]}}, 88, 1, "abcd"},
		"the other knows":                     {[]sent{{1, a}, {2, b}}, 90, 0, "efgh"},
		"the same knows no more":              {[]sent{{2, b}, {2, lacking}}, -1, -1, ""},
		"the same is too short":               {[]sent{{2, b}, {2, lacking[:1]}}, -1, -1, ""},
		"the power of the other is not known": {[]sent{{1, a}, {3, []byte{7, 0x80}}}, 88, 1, "abcd"},
		"its own power is not known any more": {[]sent{{3, []byte{7, 1}}, {3, []byte{7, 0x80}}}, -1, -1, ""},
	} {
		d := decode.NewDecoder(table(t, 11, twoSayIt), "bus")
		for i, f := range c.sent {
			if got := d.Decode(&transport.Frame{Time: int64(1 + i), Medium: transport.CAN, ID: f.id, Data: f.data}); got != decode.Decoded {
				t.Fatalf("%s: frame %d is %v", name, i, got)
			}
		}
		var s pack.Status
		d.Status(0, int64(1+len(c.sent)), &s)
		known := func(q pack.Quantity) int64 {
			if !s.Has(q) {
				return -1
			}
			return s.Value(q).Coef
		}
		if soc, allowed, serial := known(pack.SOC), known(pack.ChargeAllowed), s.Text(pack.Serial); soc != c.soc || allowed != c.allowed || serial != c.serial {
			t.Errorf("%s: got %d, %d, %q, want %d, %d, %q", name, soc, allowed, serial, c.soc, c.allowed, c.serial)
		}
	}
}

// TestShorterFrameTakesBackItsLists holds that a frame without its optional end knows
// no more of what the last one said there: of numbers, of lists and of lists of bits.
func TestShorterFrameTakesBackItsLists(t *testing.T) {
	d := decode.NewDecoder(table(t, 11, `{name: a, can: {id: 1}, length: [1, 8], fields: [{at: 0, as: u8, is: soc_pct},
{at: 1, as: flags8, is: "balancing[]", optional: true}, {at: 2, as: u8, is: "temps_c[]", repeat: 2, optional: true}], examples: [{hex: "", gives: {}, source: s}]}`), "bus")
	for i, c := range []struct {
		data []byte
		has  bool
	}{{[]byte{50, 5, 20, 21}, true}, {[]byte{51}, false}, {[]byte{52, 5, 20, 21}, true}} {
		at := int64(1 + i)
		d.Decode(&transport.Frame{Time: at, Medium: transport.CAN, ID: 1, Data: c.data})
		var s pack.Status
		d.Status(0, at, &s)
		if !s.Has(pack.SOC) || s.Has(pack.Balancing) != c.has || s.Has(pack.Temps) != c.has {
			t.Errorf("after % X: %s", c.data, s.AppendJSON(nil))
		}
	}
}
