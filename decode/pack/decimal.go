package pack

import (
	"fmt"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// MaxExp is the largest distance of a decimal's exponent from 0 that
// arithmetic and text work with.
const MaxExp = 18

var powers = func() (p [MaxExp + 1]int64) {
	p[0] = 1
	for i := 1; i < len(p); i++ {
		p[i] = p[i-1] * 10
	}
	return p
}()

// Decimal is the exact number Coef x 10^Exp, Exp between -MaxExp and MaxExp.
// The zero value is 0.
type Decimal struct {
	Coef int64
	Exp  int8
}

// Int is n as a decimal.
func Int(n int64) Decimal { return Decimal{Coef: n} }

// ParseDecimal reads a plain decimal such as -12.50, without an exponent. It
// refuses more than 18 digits.
func ParseDecimal(text string) (Decimal, error) {
	digits, negative := strings.CutPrefix(text, "-")
	whole, fraction, point := strings.Cut(digits, ".")
	digits = whole + fraction
	coef, err := strconv.ParseUint(digits, 10, 63)
	if err != nil || whole == "" || point && fraction == "" || len(digits) > MaxExp {
		return Decimal{}, fmt.Errorf("%q is not a plain decimal number of at most %d digits, such as 52.8 or -13", text, MaxExp)
	}
	d := Decimal{int64(coef), int8(-len(fraction))}
	if negative {
		d.Coef = -d.Coef
	}
	return d, nil
}

// Float64 is the float nearest to d. One division by a power of ten rounds
// once, so it is the same on every machine.
func (d Decimal) Float64() float64 {
	if d.Exp < 0 {
		return float64(d.Coef) / math.Pow10(-int(d.Exp))
	}
	return float64(d.Coef) * math.Pow10(int(d.Exp))
}

// String is d in its shortest exact form: 53.12, -0.1, 40.
func (d Decimal) String() string { return string(d.Append(nil)) }

// Append appends d in its shortest exact form. It allocates nothing if b has
// room.
func (d Decimal) Append(b []byte) []byte {
	u, exp := uint64(d.Coef), int(d.Exp)
	if d.Coef < 0 {
		b = append(b, '-')
		u = -u
	}
	for exp < 0 && u%10 == 0 {
		if u == 0 {
			return append(b, '0')
		}
		u /= 10
		exp++
	}
	if exp >= 0 {
		b = strconv.AppendUint(b, u, 10)
		for ; exp > 0 && u != 0; exp-- {
			b = append(b, '0')
		}
		return b
	}
	unit := uint64(powers[-exp])
	b = append(strconv.AppendUint(b, u/unit, 10), '.')
	for rest := u % unit; unit > 1; rest %= unit {
		unit /= 10
		b = append(b, byte('0'+rest/unit))
	}
	return b
}

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
	case shift < -MaxExp:
		return 0, true
	}
	return divRound(d.Coef, powers[-shift]), true
}

// divRound is a/b rounded half away from zero, for a positive b.
func divRound(a, b int64) int64 {
	quotient, rest := a/b, a%b
	switch {
	case rest >= b-rest:
		return quotient + 1
	case -rest >= b+rest:
		return quotient - 1
	}
	return quotient
}

func mul(a, b int64) (product int64, ok bool) {
	hi, lo := bits.Mul64(magnitude(a), magnitude(b))
	if hi != 0 || lo > math.MaxInt64 {
		return 0, false
	}
	if (a < 0) != (b < 0) {
		return -int64(lo), true
	}
	return int64(lo), true
}

func magnitude(n int64) uint64 {
	if n < 0 {
		return -uint64(n)
	}
	return uint64(n)
}

// Add is d + e, exactly. It is not ok if the sum does not fit.
func (d Decimal) Add(e Decimal) (sum Decimal, ok bool) {
	exp := min(d.Exp, e.Exp)
	a, okA := d.Rescale(exp)
	b, okB := e.Rescale(exp)
	total := a + b
	if !okA || !okB || (a > 0) == (b > 0) && a != 0 && b != 0 && (total > 0) != (a > 0) {
		return Decimal{}, false
	}
	return Decimal{total, exp}, true
}

// Sub is d - e, exactly. It is not ok if the difference does not fit.
func (d Decimal) Sub(e Decimal) (difference Decimal, ok bool) {
	if e.Coef == math.MinInt64 {
		return Decimal{}, false
	}
	return d.Add(Decimal{-e.Coef, e.Exp})
}

// Mul is d x e, exactly. It is not ok if the product does not fit.
func (d Decimal) Mul(e Decimal) (product Decimal, ok bool) {
	coef, ok := mul(d.Coef, e.Coef)
	exp := int(d.Exp) + int(e.Exp)
	if !ok || exp < -MaxExp || exp > MaxExp {
		return Decimal{}, false
	}
	return Decimal{coef, int8(exp)}, true
}

// Div is d / e at the exponent exp, rounded half away from zero. It is not ok
// if e is 0 or a step of the division does not fit.
func (d Decimal) Div(e Decimal, exp int8) (quotient Decimal, ok bool) {
	if e.Coef < 0 {
		d.Coef, e.Coef = -d.Coef, -e.Coef
	}
	shift := int(d.Exp) - int(e.Exp) - int(exp)
	if e.Coef <= 0 || shift > MaxExp || shift < -MaxExp {
		return Decimal{}, false
	}
	dividend, divisor := d.Coef, e.Coef
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
	if difference, ok := d.Sub(e); ok {
		switch {
		case difference.Coef < 0:
			return -1
		case difference.Coef > 0:
			return 1
		}
		return 0
	}
	if d.Float64() < e.Float64() {
		return -1
	}
	return 1
}
