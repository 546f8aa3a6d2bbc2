package simulate_test

import (
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/decode/simulate"
	"packlink/mapping"
	"packlink/transport"
)

// TestLongBlocks holds that a block of more registers than one request can read, by the
// standard or by the mapping, is read in several, and is all understood.
func TestLongBlocks(t *testing.T) {
	for _, most := range []string{"", ", most: 3"} {
		m, err := mapping.Load("test.yaml", []byte(`{packlink: 1, name: test, title: t, source: [{title: s}], bus: {registers: {table: holding`+most+`}}, word_order: high-first,
messages: [{name: a, read: {from: 100, count: 200, every: 1s}, fields: [{at: 2, as: u32, is: cycles}, {at: 199, as: u16, is: soc_pct}], examples: [{hex: "", gives: {}, source: s}]}]}`), nil)
		if err != nil {
			t.Fatal(err)
		}
		c, err := mapping.Compile(m)
		if err != nil {
			t.Fatal(err)
		}
		traffic := newTraffic(t, c, "two-packs", simulate.Wire{})
		d, f := decode.NewDecoder(c, "bus"), transport.Frame{}
		for f.Time < noon+int64(20*time.Second) {
			if err := traffic.Receive(&f); err != nil {
				t.Fatal(err)
			}
			if d.Decode(&f); f.Direction == transport.Received && len(f.Data) > 256 {
				t.Fatalf("%s: a frame has %d bytes", most, len(f.Data))
			}
		}
		if d.Packs() != 2 {
			t.Fatalf("%s: %d packs are heard, %+v", most, d.Packs(), d.LineCounters())
		}
		for i := range d.Packs() {
			var s pack.Status
			if !d.Status(i, f.Time, &s) || !s.Has(pack.SOC) || !s.Has(pack.Cycles) {
				t.Errorf("%s: of pack %d is known %s", most, i+1, s.AppendJSON(nil))
			}
		}
	}
}

// TestUnitsThatModbusDoesNotHave holds that a pack whose address is no Modbus unit of the
// mapping is refused, as it would speak as another one.
func TestUnitsThatModbusDoesNotHave(t *testing.T) {
	m, err := mapping.Load("test.yaml", []byte(`{packlink: 1, name: test, title: t, source: [{title: s}], bus: {registers: {table: holding}},
messages: [{name: a, read: {from: 0, count: 1, every: 1s}, fields: [{at: 0, as: u16, is: soc_pct}], examples: [{hex: 0001, gives: {soc_pct: 1}, source: s}]}]}`), nil)
	if err != nil {
		t.Fatal(err)
	}
	c, err := mapping.Compile(m)
	if err != nil {
		t.Fatal(err)
	}
	for address, sound := range map[uint32]bool{0: false, 1: true, 247: true, 248: false, 257: false} {
		s := plan(t, "two-packs")
		s.Packs = s.Packs[:1]
		s.Packs[0].Address = address
		if _, err := simulate.New(c, s, noon, simulate.Wire{}); (err == nil) != sound {
			t.Errorf("address %d: %v", address, err)
		}
	}
}
