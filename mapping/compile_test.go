package mapping_test

import (
	"fmt"
	"strings"
	"testing"

	"packlink/mapping"
)

// ids is a mapping with one message for each match.
func ids(bits int, matches ...string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "packlink: 1\nname: ids\ntitle: t\nsource: [{title: s}]\nbus: {can: {bitrate: 250000, id_bits: %d}}\nmessages:\n", bits)
	for i, match := range matches {
		fmt.Fprintf(&b, "  - {name: m%d, can: {%s}, examples: [{hex: \"\", gives: {}, source: s}]}\n", i, match)
	}
	return b.String()
}

// TestFindShortIDs looks up all 2048 ids of 11 bits and compares with the mask.
func TestFindShortIDs(t *testing.T) {
	c := sound(t, ids(11, "id: 0x351", "id: 0x300, address: {bit: 0, width: 4}", "id: 0x400, address: {bit: 4, width: 3}", "id: 0", "id: 0x7FF", "id: 0x351, id_bits: 29"))
	want := func(id uint32) string {
		switch {
		case id == 0x351:
			return "m0"
		case id>>4 == 0x30:
			return "m1"
		case id >= 0x400 && id < 0x480 && id&0xF == 0:
			return "m2"
		case id == 0:
			return "m3"
		case id == 0x7FF:
			return "m4"
		}
		return ""
	}
	for id := range uint32(1 << 11) {
		if got := found(c, id, false); got != want(id) {
			t.Errorf("id %03X is %q, want %q", id, got, want(id))
		}
	}
	for _, id := range []uint32{1 << 11, 0x351 | 1<<11, 1<<29 - 1, 1<<32 - 1} {
		if got := found(c, id, false); got != "" {
			t.Errorf("id %X has more than 11 bits and is %q", id, got)
		}
	}
}

func found(c *mapping.Compiled, id uint32, extended bool) string {
	if p := c.FindCAN(id, extended); p != nil {
		return p.Name
	}
	return ""
}

// TestFindLongIDs looks up ids of 29 bits that share a mask and that do not.
func TestFindLongIDs(t *testing.T) {
	c := sound(t, ids(29, "id: 0x18FF4000, address: {bit: 0, width: 8}", "id: 0x18FF4100, address: {bit: 0, width: 8}",
		"id: 0x0CF00004", "id: 0x351, id_bits: 11", "id: 0x10000001, address: {bit: 8, width: 16}"))
	for id, want := range map[uint32]string{
		0x18FF4000: "m0", 0x18FF40FF: "m0", 0x18FF4100: "m1", 0x18FF41A5: "m1", 0x18FF4200: "", 0x08FF4000: "",
		0x0CF00004: "m2", 0x0CF00005: "", 0x351: "", 0x10000001: "m4", 0x10FFFF01: "m4", 0x10FFFF00: "", 0x11000001: "",
		0x38FF4000: "",
	} {
		if got := found(c, id, true); got != want {
			t.Errorf("id %08X is %q, want %q", id, got, want)
		}
	}
	if got := found(c, 0x351, false); got != "m3" {
		t.Errorf("the 11-bit id is %q", got)
	}
}

// TestAddressesRoundTrip holds that every address goes into the id and out
// again, and that the id leads to the message.
func TestAddressesRoundTrip(t *testing.T) {
	for match, addresses := range map[string]uint32{
		"id: 0x300, address: {bit: 0, width: 4}, id_bits: 11":         1 << 4,
		"id: 0, address: {bit: 10, width: 1}, id_bits: 11":            1 << 1,
		"id: 0x18FF0040, address: {bit: 8, width: 8}":                 1 << 8,
		"id: 0x10000001, address: {bit: 8, width: 16}":                1 << 16,
		"id: 0x0FFFFFFF, address: {bit: 28, width: 1}, every: 100ms":  1 << 1,
		"id: 0x7FF, id_bits: 11, timeout: 1m":                         1,
		"id: 0x1FFFFFFF":                                              1,
		"id: 0x1FFF0000, address: {bit: 0, width: 16}, timeout: 100s": 1 << 16,
	} {
		p := &sound(t, ids(29, match)).Programs[0]
		for address := range addresses {
			id := p.ID(address)
			got, has := p.Address(id)
			if got != address || has != (addresses > 1) || id&p.CAN.Mask() != p.CAN.ID {
				t.Fatalf("%s: address %d gives id %X, which has address %d (%t)", match, address, id, got, has)
			}
		}
		if over := p.ID(addresses); over != p.ID(0) {
			t.Errorf("%s: an address too great reaches other bits of the id: %X", match, over)
		}
	}
}

// TestScaleEdges holds which scaled numbers fit 62 bits: the greatest raw value
// times the scale, and the offset, may each reach 2^62 - 1 steps.
func TestScaleEdges(t *testing.T) {
	for _, c := range []struct {
		field string
		fits  bool
	}{
		{"as: u62, scale: 1", true}, {"as: u63, scale: 1", false},
		{"as: u62, scale: 2", false}, {"as: u61, scale: 2", true}, {"as: u61, scale: 3", false},
		{"as: i62, scale: 1", true}, {"as: i63, scale: 1", false}, {"as: i62, scale: 2", false}, {"as: i62, scale: 0.1", true},
		{"as: i32, scale: 2147483647", true}, {"as: i32, scale: 2147483648", false},
		{"as: u32, scale: 1073741823", true}, {"as: u32, scale: 1073741825", false},
		{"as: bcd16, scale: 461", true}, {"as: bcd16, scale: 462", false},
		{"as: u8, offset: 999999999999999999", true}, {"as: u8, offset: 999999999999999999, scale: 0.1", false},
		{"as: u8, range: [0, 999999999999999999]", true}, {"as: u8, range: [0, 999999999999999999], scale: 0.01", false},
		{"as: u8, range: [-999999999999999999, 0], scale: 0.01", false},
	} {
		text := `{packlink: 1, name: edge, title: t, source: [{title: s}], bus: {can: {bitrate: 500000, id_bits: 11}}, byte_order: little,
messages: [{name: m, can: {id: 1}, length: 8, fields: [{at: 0, is: cycles, ` + c.field + `}], examples: [{hex: "", gives: {}, source: s}]}]}`
		_, err := mapping.Load("edge.yaml", []byte(text), nil)
		if refused := err != nil && strings.Contains(err.Error(), "[scale]"); refused == c.fits || err != nil && c.fits {
			t.Errorf("%s: fits: %t, got %v", c.field, c.fits, err)
		}
	}
}
