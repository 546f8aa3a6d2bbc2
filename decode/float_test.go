package decode

import (
	"fmt"
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"packlink/decode/pack"
	"packlink/mapping"
)

// TestFloatsKnown holds floats whose bits are known: figure 3.1 of IEEE 754-2019
// by hand, and the limits of the format (table 3.5).
func TestFloatsKnown(t *testing.T) {
	for _, v := range []struct {
		bits int
		raw  uint64
		want string // "" if it is not known
	}{
		{32, 0x42550000, "53.25"},
		{32, 0xC2550000, "-53.25"},
		{32, 0x3DCCCCCD, "0.1"},
		{32, 0x00000000, "0"},
		{32, 0x80000000, "0"},
		{32, 0x7FC00000, ""}, // NaN
		{32, 0xFFFFFFFF, ""}, // NaN
		{32, 0x7F800000, ""}, // infinity
		{32, 0xFF800000, ""},
		{32, 0x7F7FFFFF, ""},                    // 3.4 x 10^38
		{32, 0x00000001, ""},                    // 1.4 x 10^-45
		{32, 0x5D5E0B6B, "1000000000000000000"}, // 10^18, the nearest float
		{64, 0x3FB999999999999A, "0.1"},
		{64, 0x4341C37937E08000, "10000000000000000"},
		{64, 0x3FF0000000000001, "1.0000000000000002"},
		{64, 0x44B52D02C7E14AF6, "100000000000000000000000"}, // 10^23
		{64, 0x7FEFFFFFFFFFFFFF, ""},
		{64, 0x7FF8000000000000, ""},
	} {
		d, ok := fromFloat(v.raw, v.bits)
		if ok != (v.want != "") || ok && d.String() != v.want {
			t.Errorf("f%d %X is %v, %t, want %q", v.bits, v.raw, d, ok, v.want)
		}
	}
}

// TestFloatsAreWrittenBack holds that each float is read as a decimal that is
// nearer to it than to its neighbours, and written as the same bits.
func TestFloatsAreWrittenBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bits, r, f := 64, rapid.Uint64().Draw(t, "raw"), 0.0
		if f = math.Float64frombits(r); rapid.Bool().Draw(t, "single") {
			bits, r = 32, r>>32
			f = float64(math.Float32frombits(uint32(r)))
		}
		d, ok := fromFloat(r, bits)
		if size := math.Abs(f); !ok {
			if size > 1e-2 && size < 1e18 {
				t.Errorf("%g is not known", f)
			}
			return
		}
		value, _ := new(big.Rat).SetString(fmt.Sprintf("%de%d", d.Coef, d.Exp))
		if exact := new(big.Rat).SetFloat64(f); bits == 64 && value.Cmp(exact) != 0 {
			if near, _ := value.Float64(); near != f {
				t.Errorf("%g is %v", f, d)
			}
		}
		if again, ok := toFloat(d, bits); !ok || again != r && f != 0 {
			t.Errorf("%X is %v, written back as %X", r, d, again)
		}
	})
}

// TestScaledFloatsAreWrittenBack holds that the scale of a float is undone
// exactly, or the value is not known.
func TestScaledFloatsAreWrittenBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		op := mapping.Op{Field: &mapping.Field{Type: mapping.Type{Base: mapping.Float, Bits: 32}}, Mask: math.MaxUint32, ScaleSlot: -1}
		op.Scale = pack.Decimal{Coef: rapid.Int64Range(1, 9999).Draw(t, "scale"), Exp: int8(rapid.IntRange(-4, 0).Draw(t, "exponent"))}
		op.Offset = pack.Decimal{Coef: rapid.Int64Range(-99_999, 99_999).Draw(t, "offset"), Exp: -2}
		f := float32(rapid.Float64Range(-1e4, 1e4).Draw(t, "float"))
		r := &reading{}
		v := r.float(&op, uint64(math.Float32bits(f)))
		if v.Trust == 0 {
			if f := math.Abs(float64(f)); f > 1 {
				t.Errorf("%g is not known", f)
			}
			return
		}
		if again, ok := floatOf(&op, v.Decimal(), op.Scale); !ok || again != uint64(math.Float32bits(f)) && f != 0 {
			t.Errorf("%g is %v, written back as %X", f, v.Decimal(), again)
		}
	})
}

// TestFloatsTooLargeAreRefused holds that a value beyond the greatest float is
// not cut.
func TestFloatsTooLargeAreRefused(t *testing.T) {
	if _, ok := toFloat(pack.Decimal{Coef: math.MaxInt64, Exp: 18}, 64); !ok {
		t.Error("9.2 x 10^36 does not fit 64 bits")
	}
	op := mapping.Op{Field: &mapping.Field{Type: mapping.Type{Base: mapping.Float, Bits: 32}, Scale: pack.Decimal{Coef: 1, Exp: -18}}}
	if r, ok := floatOf(&op, pack.Decimal{Coef: math.MaxInt64, Exp: 18}, op.Scale); ok {
		t.Errorf("9.2 x 10^54 is written as %X", r)
	}
}
