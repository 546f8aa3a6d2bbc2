package decode

import (
	"math"
	"strconv"

	"packlink/decode/pack"
	"packlink/mapping"
)

// mostDigits is the most digits of a decimal that is made from a float.
const mostDigits = 18

// fromFloat is the shortest decimal that gives the IEEE 754 number of so many
// bits. It is not ok for what is no number, and for what a decimal cannot hold.
func fromFloat(r uint64, bits int) (d pack.Decimal, ok bool) {
	f := math.Float64frombits(r)
	if bits == 32 {
		f = float64(math.Float32frombits(uint32(r)))
	}
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return d, false
	}
	var buffer [32]byte
	text := strconv.AppendFloat(buffer[:0], f, 'e', -1, bits) // such as -1.25e+03
	exp, digits, i := 0, 0, 0
	for ; text[i] != 'e'; i++ {
		if c := text[i]; c >= '0' && c <= '9' {
			d.Coef = 10*d.Coef + int64(c-'0')
			digits++
		}
	}
	for _, c := range text[i+2:] {
		exp = 10*exp + int(c-'0')
	}
	if text[i+1] == '-' {
		exp = -exp
	}
	exp -= digits - 1
	for ; exp > pack.MaxExp && digits < mostDigits; exp-- {
		d.Coef *= 10
		digits++
	}
	if text[0] == '-' {
		d.Coef = -d.Coef
	}
	d.Exp = int8(max(min(exp, math.MaxInt8), math.MinInt8))
	return d, d.Exp >= -pack.MaxExp && d.Exp <= pack.MaxExp
}

// toFloat is the IEEE 754 number of so many bits nearest to d. It is not ok if
// d is greater than the greatest.
func toFloat(d pack.Decimal, bits int) (r uint64, ok bool) {
	f, err := strconv.ParseFloat(d.String(), bits)
	if bits == 32 {
		return uint64(math.Float32bits(float32(f))), err == nil
	}
	return math.Float64bits(f), err == nil
}

// notANumber is a float that says nothing: the quiet NaN with the fewest bits
// (IEEE 754-2019, section 6.2.1).
func notANumber(bits int) uint64 {
	if bits == 32 {
		return 0x7FC00000
	}
	return 0x7FF8000000000000
}

// float is the value of a field that is a float, the zero value if it is not
// available.
func (r *reading) float(op *mapping.Op, bits uint64) pack.Value {
	d, isNumber := fromFloat(bits, op.Type.Bits)
	d, fits := d.Mul(op.Scale)
	if op.Offset.Coef != 0 && fits {
		d, fits = d.Add(op.Offset)
	}
	if !isNumber || !fits {
		return pack.Value{}
	}
	v := pack.Value{Coef: d.Coef, Exp: d.Exp, At: r.at, By: r.by, Trust: pack.Known}
	if op.Range != nil && d.Cmp(op.Range.Low) < 0 {
		v.Trust |= pack.Below
	} else if op.Range != nil && d.Cmp(op.Range.High) > 0 {
		v.Trust |= pack.Above
	}
	return v
}

// floatOf is the float nearest to (v - offset) / scale.
func floatOf(op *mapping.Op, v, scale pack.Decimal) (r uint64, ok bool) {
	ok = true
	if op.Offset.Coef != 0 {
		v, ok = v.Sub(op.Offset)
	}
	if scale != pack.Int(1) && ok {
		v, ok = quotient(v, scale)
	}
	if !ok {
		return 0, false
	}
	return toFloat(v, op.Type.Bits)
}

// quotient is v / scale with as many places as fit.
func quotient(v, scale pack.Decimal) (q pack.Decimal, ok bool) {
	for exp := int8(-pack.MaxExp); exp <= pack.MaxExp && !ok; exp++ {
		q, ok = v.Div(scale, exp)
	}
	return q, ok
}
