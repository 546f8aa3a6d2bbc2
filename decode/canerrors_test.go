package decode_test

import (
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
)

// TestCANErrors puts each of the eight kinds of communication error (fieldbus
// safety literature, IEC 61784-3, by title, from memory) on a CAN bus, as far as
// they can reach a listener, and says what is noticed. docs/line-errors.md has
// the table.
func TestCANErrors(t *testing.T) {
	first, second1 := charge(second, 50), charge(2*second, 51)
	bent := first
	bent.Flags = transport.Damaged
	elsewhere := first
	elsewhere.ID = 0x356 + 1
	longer := first
	longer.Data = make([]byte, 9)
	report := transport.Frame{Time: second, Medium: transport.CAN, Flags: transport.BusError, ID: 0x80, Data: make([]byte, 8)}
	for name, c := range map[string]struct {
		frames  []transport.Frame
		outcome decode.Outcome
		soc     int64 // of the pack afterwards; -1 if there is none
	}{
		"corruption: the controller reports an error":      {[]transport.Frame{report}, decode.Damaged, -1},
		"corruption: the adapter marks the frame":          {[]transport.Frame{bent}, decode.Damaged, -1},
		"repetition changes nothing":                       {[]transport.Frame{first, first}, decode.Decoded, 50},
		"wrong order: an older frame after a newer one":    {[]transport.Frame{second1, first}, decode.Late, 51},
		"delay beyond a newer frame":                       {[]transport.Frame{first, second1, first}, decode.Late, 51},
		"insertion of a frame of an unknown id":            {[]transport.Frame{first, elsewhere}, decode.Unknown, 50},
		"masquerade with a length that the id never has":   {[]transport.Frame{first, longer}, decode.Long, 50},
		"wrong address: the id of nobody":                  {[]transport.Frame{elsewhere}, decode.Unknown, -1},
		"masquerade under a known id cannot be told apart": {[]transport.Frame{charge(second, 77)}, decode.Decoded, 77},
	} {
		t.Run(name, func(t *testing.T) {
			d := decode.NewDecoder(compiled(t, "storage-can-35x"), "bus")
			var last decode.Outcome
			for i := range c.frames {
				last = d.Decode(&c.frames[i])
			}
			soc := int64(-1)
			if d.Packs() > 0 {
				var s pack.Status
				d.Status(0, c.frames[len(c.frames)-1].Time, &s)
				soc = s.Value(pack.SOC).Coef
			}
			if last != c.outcome || soc != c.soc {
				t.Errorf("the last frame is %v and the charge %d, want %v and %d", last, soc, c.outcome, c.soc)
			}
		})
	}
}

// TestCANLoss loses every frame after the first: what was heard grows old and is
// marked, and then the pack is gone.
func TestCANLoss(t *testing.T) {
	d := decode.NewDecoder(compiled(t, "storage-can-35x"), "bus")
	f := charge(second, 50)
	d.Decode(&f)
	var s pack.Status
	for after, fresh := range map[int64]bool{0: true, 3 * second: true, 3*second + 1: false} {
		if got := d.Status(0, second+after, &s); got != fresh || s.Stale(pack.SOC) == fresh {
			t.Errorf("%d ns after its last frame the pack is fresh: %v", after, got)
		}
	}
}

// TestClockSetBack sets the clock of a live bus back by an hour: what was heard
// before is forgotten, and the pack is followed on from there at once.
func TestClockSetBack(t *testing.T) {
	d := decode.NewDecoder(compiled(t, "storage-can-35x"), "bus")
	before, limits := charge(5000*second, 50), transport.Frame{Time: 5000 * second, Medium: transport.CAN, ID: 0x35C, Data: []byte{0xC0, 0}}
	after := charge(1400*second, 51)
	for _, f := range []*transport.Frame{&limits, &before, &after} {
		if got := d.Decode(f); got != decode.Decoded {
			t.Errorf("the frame at %d s is %v", f.Time/second, got)
		}
	}
	var s pack.Status
	if fresh := d.Status(0, 1400*second, &s); !fresh || d.Packs() != 1 || s.Time != 1400*second {
		t.Errorf("fresh %v, %d packs, time %d", fresh, d.Packs(), s.Time)
	}
	if s.Value(pack.SOC).Coef != 51 || s.Has(pack.ChargeAllowed) {
		t.Errorf("what was said before the clock was set back is still shown: %s", s.AppendJSON(nil))
	}
}

// TestClockOfALineSetBack is the same on a Modbus line.
func TestClockOfALineSetBack(t *testing.T) {
	d := decode.NewDecoder(compiled(t, "marrowfen-mf16"), "line")
	for _, at := range []int64{5000 * second, 1400 * second} {
		d.Decode(&transport.Frame{Time: at, Medium: transport.Serial, Data: ask(1, 0, 40)})
		if got := d.Decode(&transport.Frame{Time: at, Medium: transport.Serial, Data: give(1, basics(t))}); got != decode.Decoded {
			t.Errorf("the answer at %d s is %v", at/second, got)
		}
	}
	var s pack.Status
	if fresh := d.Status(0, 1400*second, &s); !fresh || s.Time != 1400*second {
		t.Errorf("fresh %v, time %d", fresh, s.Time)
	}
}
