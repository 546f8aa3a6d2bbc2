package decode

import (
	"bytes"

	"packlink/decode/pack"
	"packlink/mapping"
)

// takeBack makes unknown what the message said of a field's quantity, if it was the
// last to say something of it, and no earlier field does.
func (r *reading) takeBack(op *mapping.Op) {
	if q := op.Target.Quantity; !op.Refines && r.status.Value(q).By == r.by {
		r.status.Clear(q)
	}
}

// number is a field's value, the zero value if it is not available.
func (r *reading) number(op *mapping.Op, w uint64) pack.Value {
	bits := raw(op, w)
	if missing(op, bits) {
		return pack.Value{}
	}
	if op.Type.Base == mapping.Float {
		return r.shift(op, r.float(op, bits))
	}
	n, ok := whole(op, bits)
	if !ok {
		return pack.Value{}
	}
	v := pack.Value{Coef: n*op.Mul + op.Add, Exp: op.Exp, At: r.at, By: r.by, Trust: pack.Known}
	switch {
	case v.Coef < op.Low:
		v.Trust |= pack.Below
	case v.Coef > op.High:
		v.Trust |= pack.Above
	}
	return r.shift(op, v)
}

// shift multiplies a value by the power of ten that another field gives, if one
// does. The value is not known if the power is not.
func (r *reading) shift(op *mapping.Op, v pack.Value) pack.Value {
	if op.ScaleSlot < 0 {
		return v
	}
	power, known := r.lets.get(op.ScaleSlot)
	exp := int64(v.Exp) + power
	if !known || exp < -pack.MaxExp || exp > pack.MaxExp {
		return pack.Value{}
	}
	v.Exp = int8(exp)
	return v
}

// flag writes a flag whose raw values have meanings. One without a meaning is
// not known.
func (r *reading) flag(op *mapping.Op, bits uint64, to *pack.Value) {
	if len(op.Values) == 0 && !missing(op, bits) {
		*to = pack.Value{Coef: int64(bits), At: r.at, By: r.by, Trust: pack.Known}
		return
	}
	m := meaning(op, bits)
	if m == nil {
		if to.By == r.by {
			*to = pack.Value{}
		}
		return
	}
	to.Coef, to.At, to.By, to.Exp, to.Trust = 0, r.at, r.by, 0, pack.Known
	if m.On {
		to.Coef = 1
	}
}

// text reads a text, or a number as its digits. Nothing but blanks before its first
// NUL means that it is not known.
func (r *reading) text(op *mapping.Op, data []byte, w uint64) {
	if op.Target == nil {
		return
	}
	var digits [20]byte
	part := digits[:0]
	switch op.Kind {
	case mapping.OpText:
		part = data[op.Start:op.Need]
	case mapping.OpWord:
		part = words(op, raw(op, w))
	default:
		if v := r.number(op, w); v.Trust != 0 && op.Kind == mapping.OpDate {
			part = date(op, v.Coef, part)
		} else if v.Trust != 0 {
			part = v.Decimal().Append(part)
		}
	}
	q, v := op.Target.Quantity, pack.Value{At: r.at, By: r.by, Trust: pack.Known}
	if op.Piece != nil {
		if r.status.PutPiece(q, op.Piece, part, v); len(r.status.TextBytes(q)) == 0 {
			r.status.Clear(q)
		}
		return
	}
	if until, _, _ := bytes.Cut(part, []byte{0}); len(bytes.TrimLeft(until, " ")) == 0 {
		r.takeBack(op)
		return
	}
	r.status.PutText(q, part, v)
}
