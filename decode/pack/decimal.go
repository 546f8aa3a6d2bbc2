package pack

import (
	"fmt"
	"math"
	"slices"
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

// exactFloat is the largest magnitude up to which a float64 holds every integer.
const exactFloat = 1 << 53

// Float64 is the float nearest to d, the same on every machine. Up to
// exactFloat one operation with an exact power of ten rounds once; above, the
// coefficient itself would be rounded too, so the text is read instead.
func (d Decimal) Float64() float64 {
	switch coef := float64(d.Coef); {
	case magnitude(d.Coef) > exactFloat:
		f, _ := strconv.ParseFloat(d.String(), 64) // d's text is always a number in range
		return f
	case d.Exp < 0:
		return coef / math.Pow10(-int(d.Exp))
	default:
		return float64(coef * math.Pow10(int(d.Exp))) // the conversion forbids a fused sum
	}
}

// String is d in its shortest exact form: 53.12, -0.1, 40.
func (d Decimal) String() string { return string(d.Append(nil)) }

// Append appends d in its shortest exact form. It allocates nothing if b has
// room.
func (d Decimal) Append(b []byte) []byte {
	u, exp := magnitude(d.Coef), int(d.Exp)
	if u == 0 {
		return append(b, '0')
	}
	if d.Coef < 0 {
		b = append(b, '-')
	}
	for exp < 0 && u%10 == 0 {
		u /= 10
		exp++
	}
	if exp < 0 {
		return appendFraction(b, u, -exp)
	}
	b = strconv.AppendUint(b, u, 10)
	for ; exp > 0; exp-- {
		b = append(b, '0')
	}
	return b
}

// appendFraction appends u with a point before its last places digits, of
// which there are 1 to MaxExp. Its digits are written in place from the last.
func appendFraction(b []byte, u uint64, places int) []byte {
	digits := places + 1
	for digits <= MaxExp && u >= uint64(powers[digits]) {
		digits++
	}
	start := len(b)
	b = slices.Grow(b, digits+1)[:start+digits+1]
	text := b[start:]
	point := digits - places
	for at := digits; at >= 0; at-- {
		if at == point {
			text[at] = '.'
			continue
		}
		text[at] = byte('0' + u%10)
		u /= 10
	}
	return b
}
