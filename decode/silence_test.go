package decode_test

import (
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
)

// TestLimitsDoNotOutliveMeasurements: a pack that measures every second and says its limits
// once a minute is silent when it measures no more, however new the limits are. One of
// which only the limits are heard is heard as long as they hold.
func TestLimitsDoNotOutliveMeasurements(t *testing.T) {
	c := table(t, 11, `
{name: state, can: {id: 0x100, every: 1s}, fields: [{at: 0, as: u8, is: voltage_v}], examples: [{hex: "", gives: {}, source: s}]},
{name: limits, can: {id: 0x101, every: 1m}, fields: [{at: 0, as: u8, is: charge_current_limit_a}], examples: [{hex: "", gives: {}, source: s}]}`)
	second := int64(time.Second)
	for _, measures := range []bool{true, false} {
		d, s := decode.NewDecoder(c, "bus"), new(pack.Status)
		if measures {
			d.Decode(&transport.Frame{Time: 9 * second, Medium: transport.CAN, ID: 0x100, Data: []byte{52}})
		}
		d.Decode(&transport.Frame{Time: 10 * second, Medium: transport.CAN, ID: 0x101, Data: []byte{100}})
		for at, heard := range map[int64]bool{14: true, 16: !measures, 189: !measures, 191: false} {
			limit := int64(100)
			if !heard {
				limit = 0
			}
			fresh := d.Status(0, at*second, s)
			if v := s.Value(pack.ChargeCurrentLimit); fresh != heard || v.Decimal() != pack.Int(limit) {
				t.Errorf("measuring %t, at %d s: heard %t, limit %v", measures, at, fresh, v)
			}
		}
	}
}
