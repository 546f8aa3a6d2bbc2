package decode

import (
	"bytes"
	"math/bits"

	"packlink/decode/pack"
	"packlink/mapping"
)

// lets are the values of a message's named fields.
type lets struct {
	values [mapping.MaxLets]int64
	known  uint64
}

// get is the value of a named field. A field of a group, which is there many
// times, has a name but no place: i is -1.
func (l *lets) get(i int) (value int64, known bool) {
	if i < 0 || l.known>>i&1 == 0 {
		return 0, false
	}
	return l.values[i], true
}

// readNamed reads the named fields of a payload. It is not ok if one lies
// outside its range: the message cannot be trusted then.
// known is the block of which data are the bytes; nil if data is whole.
func readNamed(ops []mapping.Op, data []byte, known *block, l *lets) (ok bool) {
	for i := range ops {
		op := &ops[i]
		part, there := l.part(op, data)
		if !there || op.Need > len(part) || !known.has(op.Start, op.Need) {
			continue
		}
		r := raw(op, window(part, op.Start))
		if missing(op, r) {
			continue
		}
		v, ok := whole(op, r)
		if !ok {
			return false
		}
		if scaled := v*op.Mul + op.Add; scaled < op.Low || scaled > op.High {
			return false
		}
		l.values[op.Slot], l.known = v, l.known|1<<op.Slot
	}
	return true
}

// reading is where the fields of one payload go.
type reading struct {
	status *pack.Status
	alarms []said // by the message's fields that are alarms
	lets   *lets
	at     int64  // time of the frame
	by     uint16 // index of the message

	ofCell bool // the fields speak of one cell
	cell   int  // its element in lists, from 0

	block      *block // of registers, of which only the bytes from first to end were read anew; nil if all were
	first, end int
}

// run reads a run of fields.
func (r *reading) run(steps *mapping.Steps, data []byte) {
	readNumbers(r.status, steps.Numbers, data, r.at, r.by)
	if len(steps.Rest) > 0 {
		r.read(steps.Rest, data)
	}
}

// readNumbers runs the operations of plain numbers over data.
func readNumbers(status *pack.Status, ops []mapping.NumberOp, data []byte, at int64, by uint16) {
	first := window(data, 0)
	for i := range ops {
		op := &ops[i]
		v := status.Place(op.Quantity)
		if int(op.Need) > len(data) {
			if v.By == by && !op.Refines {
				*v = pack.Value{}
			}
			continue
		}
		w := first
		if op.Start != 0 {
			w = window(data, int(op.Start))
		}
		if op.Big {
			w = bits.ReverseBytes64(w)
		}
		w = w >> (op.Shift & 63) & op.Mask
		if w-op.Missing <= uint64(op.Beside) {
			if v.By == by && !op.Refines {
				*v = pack.Value{}
			}
			continue
		}
		coef := int64(w<<(op.Extend&63))>>(op.Extend&63)*op.Mul + op.Add
		trust := pack.Known
		if coef < op.Low {
			trust |= pack.Below
		} else if coef > op.High {
			trust |= pack.Above
		}
		v.Coef, v.At, v.By, v.Exp, v.Trust = coef, at, by, op.Exp, trust
	}
}

// read runs the operations over data, whose byte 0 is the fields' byte 0.
func (r *reading) read(ops []mapping.Op, data []byte) {
	loaded, w := -1, uint64(0)
	for i := range ops {
		op := &ops[i]
		if op.Moves() {
			if part, there := r.lets.part(op, data); there {
				r.field(op, part, window(part, op.Start))
			}
			continue
		}
		if op.Start != loaded {
			w, loaded = window(data, op.Start), op.Start
		}
		r.field(op, data, w)
	}
}

// field runs one operation over data, whose window at Start is w.
func (r *reading) field(op *mapping.Op, data []byte, w uint64) {
	if op.Need > len(data) {
		r.clear(op)
		return
	}
	if r.passes(op) {
		return
	}
	switch op.Kind {
	case mapping.OpNumber:
		if v := r.number(op, w); v.Trust != 0 {
			r.status.Put(op.Target.Quantity, v)
		} else {
			r.takeBack(op)
		}
	case mapping.OpFlag:
		if op.Quantity.Row().Kind.List() {
			r.flagOfCell(op, raw(op, w))
			break
		}
		r.flag(op, raw(op, w), r.status.Place(op.Quantity))
	case mapping.OpElement:
		r.elements(op, data)
	case mapping.OpAlarms:
		r.say(op, readAlarms(op, raw(op, w)))
	case mapping.OpCodes:
		r.say(op, r.codes(op, data))
	case mapping.OpFlags:
		bits := raw(op, w)
		r.flags(op, bits, !missing(op, bits))
	case mapping.OpText, mapping.OpDigits, mapping.OpWord, mapping.OpDate:
		r.text(op, data, w)
	}
}

// clear makes unknown what a shorter payload lacks.
func (r *reading) clear(op *mapping.Op) {
	switch op.Kind {
	case mapping.OpNumber, mapping.OpFlag, mapping.OpText, mapping.OpDigits, mapping.OpWord, mapping.OpDate:
		if op.Piece != nil {
			r.status.PutText(op.Target.Quantity, nil, pack.Value{})
		} else if op.Target != nil {
			r.takeBack(op)
		}
	case mapping.OpAlarms, mapping.OpCodes:
		r.say(op, pack.AlarmSet{})
	case mapping.OpFlags:
		r.flags(op, 0, false)
	case mapping.OpElement:
		first, known := r.lets.first(op)
		for i := range op.Repetitions() {
			if known {
				r.status.PutElement(op.Target.Quantity, first+i, pack.Value{})
			}
		}
	}
}

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
