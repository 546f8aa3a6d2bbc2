package pack

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// fits tells whether r x 10^-exp is an integer of 64 bits.
func fits(r *big.Rat, exp int) bool {
	scaled := shifted(r, -exp)
	return scaled.IsInt() && scaled.Num().IsInt64()
}

// The laws of this file hold the arithmetic against the rational numbers of
// math/big, where nothing overflows and nothing is rounded.
func TestSumsAreExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, e := drawDecimal(t, "d"), drawDecimal(t, "e")
		exp := int(min(d.Exp, e.Exp))
		for _, c := range []struct {
			name string
			with func(Decimal) (Decimal, bool)
			want *big.Rat
		}{
			{"+", d.Add, new(big.Rat).Add(exact(d), exact(e))},
			{"-", d.Sub, new(big.Rat).Sub(exact(d), exact(e))},
		} {
			wantOK := fits(exact(d), exp) && fits(exact(e), exp) && fits(c.want, exp)
			got, ok := c.with(e)
			if ok != wantOK || ok && (exact(got).Cmp(c.want) != 0 || int(got.Exp) != exp) {
				t.Fatalf("%+v %s %+v is %+v, %v; want %v, %v", d, c.name, e, got, ok, c.want.FloatString(20), wantOK)
			}
		}
	})
}

func TestProductIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, e := drawDecimal(t, "d"), drawDecimal(t, "e")
		want := new(big.Rat).Mul(exact(d), exact(e))
		exp := int(d.Exp) + int(e.Exp)
		wantOK := exp >= -MaxExp && exp <= MaxExp && fits(want, exp)
		got, ok := d.Mul(e)
		if ok != wantOK || ok && (exact(got).Cmp(want) != 0 || int(got.Exp) != exp) {
			t.Fatalf("%+v x %+v is %+v, %v; want %v, %v", d, e, got, ok, want.FloatString(20), wantOK)
		}
	})
}

func TestQuotientIsRoundedHalfAwayFromZero(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, e := drawDecimal(t, "d"), drawDecimal(t, "e")
		exp := int8(rapid.IntRange(-MaxExp, MaxExp).Draw(t, "exp"))
		got, ok := d.Div(e, exp)
		if e.Coef == 0 {
			if ok {
				t.Fatalf("%v / 0 is %v", d, got)
			}
			return
		}
		want := rounded(shifted(new(big.Rat).Quo(exact(d), exact(e)), -int(exp)))
		if ok && (got.Exp != exp || !want.IsInt64() || got.Coef != want.Int64()) {
			t.Fatalf("%+v / %+v at 10^%d is %+v, want %v", d, e, exp, got, want)
		}
		if modest(d) && modest(e) && !ok {
			t.Fatalf("%+v / %+v at 10^%d is not ok", d, e, exp)
		}
	})
}

// modest decimals have quotients at any exponent that Div must give.
func modest(d Decimal) bool { return magnitude(d.Coef) < 10 && d.Exp == 0 && d.Coef != 0 }

func TestRescaleIsRoundedHalfAwayFromZero(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawDecimal(t, "d")
		exp := int8(rapid.IntRange(-MaxExp-4, MaxExp+4).Draw(t, "exp"))
		want := rounded(shifted(exact(d), -int(exp)))
		coef, ok := d.Rescale(exp)
		if ok != want.IsInt64() || ok && coef != want.Int64() {
			t.Fatalf("%+v at 10^%d is %d, %v; want %v", d, exp, coef, ok, want)
		}
	})
}

func TestCmpIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, e := drawDecimal(t, "d"), drawDecimal(t, "e")
		if rapid.Bool().Draw(t, "near") { // the same number at another exponent, or a neighbour
			e.Exp = int8(rapid.IntRange(-MaxExp, MaxExp).Draw(t, "other exp"))
			coef, _ := d.Rescale(e.Exp)
			e.Coef = coef + rapid.Int64Range(-1, 1).Draw(t, "off")
		}
		if got, want := d.Cmp(e), exact(d).Cmp(exact(e)); got != want || e.Cmp(d) != -want {
			t.Fatalf("%+v against %+v is %d and %d, want %d", d, e, got, e.Cmp(d), want)
		}
	})
}

// The edges that the laws may miss.
func TestArithmeticEdges(t *testing.T) {
	const low, high = math.MinInt64, math.MaxInt64
	not := Decimal{}
	for _, c := range []struct {
		name string
		got  func() (Decimal, bool)
		want Decimal
		ok   bool
	}{
		{"low + low", func() (Decimal, bool) { return Int(low).Add(Int(low)) }, not, false},
		{"low + high", func() (Decimal, bool) { return Int(low).Add(Int(high)) }, Int(-1), true},
		{"high + 1", func() (Decimal, bool) { return Int(high).Add(Int(1)) }, not, false},
		{"0 - low", func() (Decimal, bool) { return Int(0).Sub(Int(low)) }, not, false},
		{"-1 - low", func() (Decimal, bool) { return Int(-1).Sub(Int(low)) }, Int(high), true},
		{"low - low", func() (Decimal, bool) { return Int(low).Sub(Int(low)) }, Int(0), true},
		{"1 + 10^-19", func() (Decimal, bool) { return Decimal{1, 1}.Add(Decimal{1, -18}) }, not, false},
		{"low x 1", func() (Decimal, bool) { return Int(low).Mul(Int(1)) }, Int(low), true},
		{"low x -1", func() (Decimal, bool) { return Int(low).Mul(Int(-1)) }, not, false},
		{"2^32 x 2^31", func() (Decimal, bool) { return Int(1 << 32).Mul(Int(1 << 31)) }, not, false},
		{"2^32 x 2^32", func() (Decimal, bool) { return Int(1 << 32).Mul(Int(1 << 32)) }, not, false},
		{"exponent 19", func() (Decimal, bool) { return Decimal{1, 10}.Mul(Decimal{1, 9}) }, not, false},
		{"exponent -19", func() (Decimal, bool) { return Decimal{1, -10}.Mul(Decimal{1, -9}) }, not, false},
		{"exponent 18", func() (Decimal, bool) { return Decimal{2, 10}.Mul(Decimal{3, 8}) }, Decimal{6, 18}, true},
		{"low / -1", func() (Decimal, bool) { return Int(low).Div(Int(-1), 0) }, not, false},
		{"1 / low", func() (Decimal, bool) { return Int(1).Div(Int(low), 0) }, not, false}, // its sign cannot be turned
		{"1 / 0", func() (Decimal, bool) { return Int(1).Div(Int(0), 0) }, not, false},
		{"2 / high", func() (Decimal, bool) { return Int(2).Div(Int(high), 0) }, Int(0), true},
		{"-2 / high", func() (Decimal, bool) { return Int(-2).Div(Int(high), 0) }, Int(0), true},
		{"1 / 2", func() (Decimal, bool) { return Int(1).Div(Int(2), 0) }, Int(1), true},
		{"-1 / 2", func() (Decimal, bool) { return Int(-1).Div(Int(2), 0) }, Int(-1), true},
		{"1 / -2", func() (Decimal, bool) { return Int(1).Div(Int(-2), 0) }, Int(-1), true},
		{"1 / 3", func() (Decimal, bool) { return Int(1).Div(Int(3), -3) }, Decimal{333, -3}, true},
		{"200 / 3 at 10", func() (Decimal, bool) { return Int(200).Div(Int(3), 1) }, Decimal{7, 1}, true},
		{"high / 1 at 10^-1", func() (Decimal, bool) { return Int(high).Div(Int(1), -1) }, not, false},
		{"1 / 1 at 10^-19", func() (Decimal, bool) { return Int(1).Div(Int(1), -19) }, not, false},
	} {
		if got, ok := c.got(); ok != c.ok || got != c.want {
			t.Errorf("%s is %+v, %v; want %+v, %v", c.name, got, ok, c.want, c.ok)
		}
	}
}

func TestRescaleEdges(t *testing.T) {
	for _, c := range []struct {
		d    Decimal
		exp  int8
		want int64
		ok   bool
	}{
		{Decimal{25, -1}, 0, 3, true}, {Decimal{-25, -1}, 0, -3, true}, {Decimal{24, -1}, 0, 2, true}, {Decimal{-24, -1}, 0, -2, true},
		{Decimal{math.MaxInt64, 0}, -1, 0, false}, {Decimal{math.MinInt64, 0}, -1, 0, false}, {Decimal{math.MinInt64, 0}, 0, math.MinInt64, true},
		{Decimal{5e18, -18}, 1, 1, true}, {Decimal{4999999999999999999, -18}, 1, 0, true}, {Decimal{-5e18, -18}, 1, -1, true},
		{Decimal{math.MaxInt64, -18}, 2, 0, true}, {Decimal{1, 18}, -18, 0, false}, {Decimal{0, 18}, -18, 0, true}, {Decimal{1, 18}, 0, 1e18, true},
	} {
		if got, ok := c.d.Rescale(c.exp); got != c.want || ok != c.ok {
			t.Errorf("%+v at 10^%d is %d, %v; want %d, %v", c.d, c.exp, got, ok, c.want, c.ok)
		}
	}
}
