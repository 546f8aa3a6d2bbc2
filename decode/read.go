package decode

import (
	"math/bits"

	"packlink/decode/pack"
	"packlink/mapping"
)

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
