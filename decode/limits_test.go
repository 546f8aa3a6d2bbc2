package decode

import (
	"testing"

	"pgregory.net/rapid"

	"packlink/mapping"
)

// TestRawLimits holds the least and the greatest number of a field that do not mean
// "not available" against a search through all of them.
func TestRawLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		typ := mapping.Type{Base: mapping.Unsigned, Bits: rapid.IntRange(2, 8).Draw(t, "bits")}
		op := &mapping.Op{Field: &mapping.Field{}, Mask: 1<<typ.Bits - 1}
		if rapid.Bool().Draw(t, "signed") {
			typ.Base, op.Extend = mapping.Signed, uint8(64-typ.Bits)
		}
		op.Type = typ
		for first := uint64(0); ; { // ascending and apart
			first += rapid.Uint64Range(0, 4).Draw(t, "gap")
			last := first + rapid.Uint64Range(0, 40).Draw(t, "behind it")
			if last > op.Mask || len(op.Unavailable) == 0 && last == op.Mask && first == 0 {
				break
			}
			op.Unavailable = append(op.Unavailable, mapping.Raws{First: first, Last: last})
			first = last + 2
		}
		low, high := rawLimits(op)
		least, greatest := int64(1<<62), int64(-1<<62)
		for r := range op.Mask + 1 {
			if n, _ := whole(op, r); !missing(op, r) {
				least, greatest = min(least, n), max(greatest, n)
			}
		}
		if low != least || high != greatest {
			t.Fatalf("%s%d without %v: %d to %d, want %d to %d", map[bool]string{true: "i", false: "u"}[op.Extend > 0], typ.Bits, op.Unavailable, low, high, least, greatest)
		}
	})
}

// TestRawLimitsOfHostileRange holds that a range of 2^60 raw values is not gone through
// one by one.
func TestRawLimitsOfHostileRange(t *testing.T) {
	op := &mapping.Op{Field: &mapping.Field{Type: mapping.Type{Base: mapping.Unsigned, Bits: 61}}, Mask: 1<<61 - 1}
	op.Unavailable = []mapping.Raws{{First: 0, Last: 1 << 60}, {First: 1<<60 + 9, Last: op.Mask}}
	if low, high := rawLimits(op); low != 1<<60+1 || high != 1<<60+8 {
		t.Errorf("the limits are %d and %d", low, high)
	}
}
