package decode_test

import (
	"errors"
	"fmt"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// table is a mapping from the text of its messages.
func table(t testing.TB, idBits int, messages string) *mapping.Compiled {
	t.Helper()
	text := fmt.Sprintf("{packlink: 1, name: test, title: t, source: [{title: s}], bus: {can: {bitrate: 500000, id_bits: %d}}, byte_order: little, messages: [%s]}", idBits, messages)
	return tableOf(t, text)
}

// tableOf is a mapping from its text.
func tableOf(t testing.TB, text string) *mapping.Compiled {
	t.Helper()
	m, err := mapping.Load("test.yaml", []byte(text), nil)
	if err != nil {
		t.Fatal(err)
	}
	c, err := mapping.Compile(m)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// frames are the frames of a message, as text.
func frames(c *mapping.Compiled, message int, s *pack.Status) (all []string, err error) {
	err = decode.NewWriter(c).Frames(&c.Programs[message], s, func(f *transport.Frame) error {
		all = append(all, fmt.Sprintf("%X#% X %d", f.ID, f.Data, f.Flags))
		return nil
	})
	return all, err
}

const shared = `
{name: a, can: {id: 0x18FF0000, address: {bit: 0, width: 8}}, fields: [{at: 0, as: u8, equals: 1}, {at: 1, as: u8, is: soc_pct}], examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 0x18FF0000, address: {bit: 0, width: 16}}, length: 12, fields: [{at: 0, as: u8, equals: 2}, {at: 1, as: u8, is: soh_pct}], examples: [{hex: "", gives: {}, source: s}]},
{name: c, can: {pgn: 0xFE00, source: 0x21}, fields: [{at: 2, as: u32, is: address}, {at: 0, as: u8, is: cycles}], examples: [{hex: "", gives: {}, source: s}]}`

// TestFrames holds the ids, addresses and bytes of messages that are written.
func TestFrames(t *testing.T) {
	c := table(t, 29, shared)
	s := pack.Status{Address: 0x12, HasAddress: true}
	s.SetNumber(pack.SOC, pack.Int(88), 1)
	s.SetNumber(pack.SOH, pack.Int(99), 1)
	s.SetNumber(pack.Cycles, pack.Int(7), 1)
	for i, want := range []string{
		fmt.Sprintf("18FF0012#01 58 %d", transport.Extended),
		fmt.Sprintf("18FF0012#02 63 00 00 00 00 00 00 00 00 00 00 %d", transport.Extended|transport.FD),
		fmt.Sprintf("18FE0021#07 00 12 00 00 00 %d", transport.Extended),
	} {
		if got, err := frames(c, i, &s); err != nil || len(got) != 1 || got[0] != want {
			t.Errorf("%s is %q, %v, want %q", c.Programs[i].Name, got, err, want)
		}
	}
}

// TestFramesRefuse holds that an address which the message cannot say is not cut.
func TestFramesRefuse(t *testing.T) {
	c := table(t, 29, shared)
	s := pack.Status{Address: 0x1FF, HasAddress: true}
	s.SetNumber(pack.SOC, pack.Int(88), 1)
	s.SetNumber(pack.Cycles, pack.Int(7), 1)
	var noRoom *decode.NoRoomError
	if got, err := frames(c, 0, &s); !errors.As(err, &noRoom) || noRoom.Field != "address" {
		t.Errorf("an address of nine bits is written as %q, %v", got, err)
	}
	s.HasAddress = false
	var notKnown *decode.NotKnownError
	if got, err := frames(c, 2, &s); !errors.As(err, &notKnown) || notKnown.Field != "address" {
		t.Errorf("no address is written as %q, %v", got, err)
	}
	stop := errors.New("stop")
	s.Address = 1
	if err := decode.NewWriter(c).Frames(&c.Programs[0], &s, func(*transport.Frame) error { return stop }); err != stop {
		t.Errorf("the error of emit becomes %v", err)
	}
}

// TestSharedIDs decodes frames of messages that share ids: by their constants,
// as far as a frame is long enough to show them.
func TestSharedIDs(t *testing.T) {
	c := table(t, 29, shared)
	for _, v := range []struct {
		id   uint32
		data []byte
		want decode.Outcome
		gave pack.Quantity
	}{
		{0x18FF0012, []byte{1, 88}, decode.Decoded, pack.SOC},
		{0x18FF0012, []byte{2, 88, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0}, decode.Decoded, pack.SOH},
		{0x18FF3412, []byte{2, 88, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0}, decode.Decoded, pack.SOH},
		{0x18FF3412, []byte{1, 88}, decode.Unknown, 0}, // an id of b alone
		{0x18FF0012, []byte{3, 88}, decode.Unknown, 0},
		{0x18FF0012, []byte{2, 88}, decode.Short, 0},
		{0x18FF0012, []byte{1}, decode.Short, 0},
		{0x18FF0012, []byte{3}, decode.Unknown, 0},
		{0x18FF0012, nil, decode.Short, 0},
	} {
		d := decode.NewDecoder(c, "bus")
		f := transport.Frame{Time: 1, Medium: transport.CAN, Flags: transport.Extended, ID: v.id, Data: v.data}
		if got := d.Decode(&f); got != v.want {
			t.Errorf("%X#% X is %v, want %v", v.id, v.data, got, v.want)
		}
		if v.want == decode.Decoded {
			var s pack.Status
			if d.Status(0, 1, &s); !s.Has(v.gave) || s.Address != v.id&0xFFFF {
				t.Errorf("%X#% X gives no %s, or address %d", v.id, v.data, v.gave, s.Address)
			}
		}
	}
}

// TestAddressInPayload holds that packs are told apart by the address in the
// payload, whatever the source address.
func TestAddressInPayload(t *testing.T) {
	c := table(t, 29, shared)
	d := decode.NewDecoder(c, "bus")
	for _, f := range []transport.Frame{
		{ID: 0x18FE0005, Data: []byte{7, 0, 0x21, 0x43, 0x65, 0x87}},
		{ID: 0x0CFE0006, Data: []byte{8, 0, 0x22, 0, 0, 0}},
		{ID: 0x18FE0006, Data: []byte{9, 0, 0x21, 0x43, 0x65, 0x87}},
	} {
		f.Time, f.Medium, f.Flags = 1, transport.CAN, transport.Extended
		if got := d.Decode(&f); got != decode.Decoded {
			t.Fatalf("%X is %v", f.ID, got)
		}
	}
	var s pack.Status
	for i, want := range []struct {
		address uint32
		cycles  int64
	}{{0x87654321, 9}, {0x22, 8}} {
		if d.Status(i, 1, &s); !s.HasAddress || s.Address != want.address || s.Value(pack.Cycles).Coef != want.cycles {
			t.Errorf("pack %d has address %X and %v cycles", i, s.Address, s.Value(pack.Cycles).Decimal())
		}
	}
	if d.Packs() != 2 {
		t.Errorf("there are %d packs", d.Packs())
	}
}
