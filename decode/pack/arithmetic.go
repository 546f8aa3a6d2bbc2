package pack

import (
	"cmp"
	"math"
	"math/bits"
)

// Rescale is the coefficient of d at another exponent, rounded half away from
// zero where digits are dropped. It is not ok if it does not fit an int64.
func (d Decimal) Rescale(exp int8) (coef int64, ok bool) {
	shift := int(d.Exp) - int(exp)
	switch {
	case shift == 0 || d.Coef == 0:
		return d.Coef, true
	case shift > MaxExp:
		return 0, false
	case shift > 0:
		return mul(d.Coef, powers[shift])
	case shift >= -MaxExp:
		return divRound(d.Coef, powers[-shift]), true
	case shift == -MaxExp-1: // the last digit cannot tip a half of 10^19
		return divRound(d.Coef/10, powers[MaxExp]), true
	}
	return 0, true
}

// divRound is a/b rounded half away from zero, for a positive b.
func divRound(a, b int64) int64 {
	quotient, rest := a/b, a%b
	switch {
	case rest > 0 && rest >= b-rest:
		return quotient + 1
	case rest < 0 && -rest >= b+rest:
		return quotient - 1
	}
	return quotient
}

// mul is a x b. It is not ok if the product does not fit.
func mul(a, b int64) (product int64, ok bool) {
	negative := (a < 0) != (b < 0)
	hi, lo := bits.Mul64(magnitude(a), magnitude(b))
	switch {
	case hi != 0:
		return 0, false
	case negative && lo <= magnitude(math.MinInt64):
		return -int64(lo), true
	case !negative && lo <= math.MaxInt64:
		return int64(lo), true
	}
	return 0, false
}

func magnitude(n int64) uint64 {
	if n < 0 {
		return -uint64(n)
	}
	return uint64(n)
}

// align is the coefficients of d and e at the smaller of their exponents.
func align(d, e Decimal) (a, b int64, exp int8, ok bool) {
	exp = min(d.Exp, e.Exp)
	a, okA := d.Rescale(exp)
	b, okB := e.Rescale(exp)
	return a, b, exp, okA && okB
}

// Add is d + e, exactly. It is not ok if a part or the sum does not fit at the
// smaller exponent.
func (d Decimal) Add(e Decimal) (sum Decimal, ok bool) {
	a, b, exp, ok := align(d, e)
	total := a + b
	if !ok || (a^total)&(b^total) < 0 {
		return Decimal{}, false
	}
	return Decimal{total, exp}, true
}

// Sub is d - e, exactly. It is not ok if a part or the difference does not fit
// at the smaller exponent.
func (d Decimal) Sub(e Decimal) (difference Decimal, ok bool) {
	a, b, exp, ok := align(d, e)
	rest := a - b
	if !ok || (a^b)&(a^rest) < 0 {
		return Decimal{}, false
	}
	return Decimal{rest, exp}, true
}

// Mul is d x e, exactly. It is not ok if the product's coefficient or exponent
// does not fit.
func (d Decimal) Mul(e Decimal) (product Decimal, ok bool) {
	coef, ok := mul(d.Coef, e.Coef)
	exp := int(d.Exp) + int(e.Exp)
	if !ok || exp < -MaxExp || exp > MaxExp {
		return Decimal{}, false
	}
	return Decimal{coef, int8(exp)}, true
}

// Div is d / e at the exponent exp, from -MaxExp to MaxExp, rounded half away
// from zero. It is not ok if e is 0 or a step of the division does not fit.
func (d Decimal) Div(e Decimal, exp int8) (quotient Decimal, ok bool) {
	dividend, divisor := d.Coef, e.Coef
	if divisor < 0 {
		if dividend == math.MinInt64 || divisor == math.MinInt64 {
			return Decimal{}, false
		}
		dividend, divisor = -dividend, -divisor
	}
	shift := int(d.Exp) - int(e.Exp) - int(exp)
	if divisor == 0 || shift > MaxExp || shift < -MaxExp {
		return Decimal{}, false
	}
	if shift >= 0 {
		dividend, ok = mul(dividend, powers[shift])
	} else {
		divisor, ok = mul(divisor, powers[-shift])
	}
	if !ok {
		return Decimal{}, false
	}
	return Decimal{divRound(dividend, divisor), exp}, true
}

// Cmp is -1, 0 or 1 as d is less than, equal to or greater than e.
func (d Decimal) Cmp(e Decimal) int {
	switch {
	case d.Exp == e.Exp || d.Coef == 0 || e.Coef == 0 || (d.Coef < 0) != (e.Coef < 0):
		return cmp.Compare(d.Coef, e.Coef)
	case d.Exp < e.Exp:
		return -e.Cmp(d)
	}
	order := 1
	if shift := int(d.Exp) - int(e.Exp); shift <= MaxExp { // else |d| is at least 10^19, which no coefficient reaches
		if hi, lo := bits.Mul64(magnitude(d.Coef), uint64(powers[shift])); hi == 0 {
			order = cmp.Compare(lo, magnitude(e.Coef))
		}
	}
	if d.Coef < 0 {
		return -order
	}
	return order
}
