package decode_test

import (
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
)

// TestNoAddressIsNotAddressZero holds that what messages without an address say is
// not said of the pack at address 0, in whichever order they come.
func TestNoAddressIsNotAddressZero(t *testing.T) {
	c := table(t, 29, `{name: a, can: {id: 0x18FF0000, address: {bit: 0, width: 8}}, fields: [{at: 0, as: u8, is: soc_pct}], examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 0x1}, fields: [{at: 0, as: u8, is: soh_pct}], examples: [{hex: "", gives: {}, source: s}]}`)
	for _, ids := range [][]uint32{{0x18FF0000, 0x1}, {0x1, 0x18FF0000}, {0x1, 0x18FF0000, 0x1}} {
		d := decode.NewDecoder(c, "bus")
		for i, id := range ids {
			d.Decode(&transport.Frame{Time: int64(1 + i), Medium: transport.CAN, ID: id, Flags: transport.Extended, Data: []byte{50}})
		}
		if d.Packs() != 2 {
			t.Errorf("after %X: %d packs, want that at address 0 and one without an address", ids, d.Packs())
		}
		for i := range d.Packs() {
			var s pack.Status
			d.Status(i, int64(len(ids)), &s)
			if s.Has(pack.SOC) != s.HasAddress || s.Has(pack.SOH) == s.HasAddress {
				t.Errorf("after %X: %s", ids, s.AppendJSON(nil))
			}
		}
	}
}
