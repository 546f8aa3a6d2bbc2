package decode

import (
	"encoding/json"
	"fmt"
	"strconv"

	"packlink/decode/pack"
	"packlink/mapping"
)

// named says the value of a field that is only named.
func (part *payloadPart) named(s *Span, op *mapping.Op, r uint64) {
	n, ok := whole(op, r)
	switch {
	case op.Type.Base == mapping.Text:
		return
	case missing(op, r):
		s.Note = "not available"
		return
	case !ok:
		s.Note = "no number of its type"
		return
	}
	s.Value = number(n)
	if scaled := n*op.Mul + op.Add; scaled < op.Low || scaled > op.High {
		s.Note, s.Wrong = fmt.Sprintf("outside its range %s to %s", op.Range.Low, op.Range.High), true
	}
}

// coded says which alarm the code of an element is.
func (s *Span) coded(op *mapping.Op, element int, code uint64) {
	if op.Repetitions() > 1 {
		s.Name = fmt.Sprintf("alarms[%d]", element+1)
	}
	switch set := codeMeans(op, code); {
	case set.Known == 0 && missing(op, code):
		s.Note = "not available"
	case set.Known == 0:
		s.Note = "not known: the code has no meaning"
	case set.Active == 0:
		s.Value = json.RawMessage(`"none"`)
	default:
		for alarm := range set.All() {
			s.Value, _ = json.Marshal(alarm.String())
		}
	}
}

func number[N int64 | uint64](n N) json.RawMessage { return json.RawMessage(fmt.Sprint(n)) }

// value says what a field gives, as the decoder reads it.
func (part *payloadPart) value(s *Span, op *mapping.Op, element int, r uint64) {
	if op.Type.Base == mapping.Text {
		s.Raw = fmt.Sprintf("% X", part.data[op.StartByte(0):op.StartByte(0)+op.ContainerBytes()])
	}
	status := part.read(op)
	s.Unit = op.Quantity.Row().Unit
	v := status.Value(op.Quantity)
	text := record(status)[op.Quantity.String()]
	if op.Quantity.Row().Kind == pack.Numbers || op.Kind == mapping.OpFlag && op.Quantity.Row().Kind == pack.Flags {
		v, text = pack.Value{}, ""
		first, _ := part.lets.first(op)
		if all := status.Elements(op.Quantity); first+element < len(all) {
			v = all[first+element]
			text = v.Decimal().String()
			if op.Kind == mapping.OpFlag {
				text = strconv.FormatBool(v.Coef != 0)
			}
		}
	}
	switch {
	case v.Trust&pack.Known == 0 && op.Type.Base == mapping.Text:
		s.Note = "empty, so not known"
	case v.Trust&pack.Known == 0 && missing(op, r):
		s.Note = "not available"
	case v.Trust&pack.Known == 0:
		s.Note = "not known: these bits have no meaning"
	default:
		s.Value = json.RawMessage(text)
	}
	if v.Trust&(pack.Below|pack.Above) != 0 && op.Range != nil {
		s.Note, s.Wrong = fmt.Sprintf("outside its plausible range %s to %s", op.Range.Low, op.Range.High), true
	}
}

// read is what one field gives.
func (part *payloadPart) read(op *mapping.Op) *pack.Status {
	s := new(pack.Status)
	one := []mapping.Op{*op}
	one[0].Lists, one[0].WhenSlot = nil, -1 // the part begins where the field counts from
	one[0].Piece = nil                      // the piece is looked at alone
	r := reading{status: s, lets: &part.lets, at: 1}
	r.read(one, part.data)
	return s
}

// slots accounts for each place of a field of alarms, and for the bits of it that
// are none.
func (a *accountant) slots(part *payloadPart, op *mapping.Op, r uint64) {
	width := uint64(1)
	if op.Type.Base == mapping.Pairs {
		width = 2
	}
	for _, slot := range op.Alarms {
		if !slot.First {
			continue
		}
		shift := uint64(slot.Slot) * width
		state := r >> shift & (1<<width - 1)
		s := Span{Kind: SpanField, Name: slot.Alarm.String(), Raw: fmt.Sprintf("%0*b", int(width), state)}
		switch {
		case missing(op, r):
			s.Note = "not available"
		case state == op.On:
			s.Value = json.RawMessage("true")
		case state == op.Off:
			s.Value = json.RawMessage("false")
		default:
			s.Note = "neither on nor off, so not known"
		}
		a.claim(s, part.some(op, (1<<width-1)<<shift))
	}
	for at, mask := range part.some(op, op.Mask&^op.Slots) {
		s := Span{Kind: SpanReserved, Name: "alarms", Note: "no alarm stands here"}
		if at >= 0 && at < len(a.frame) {
			there := a.frame[at] & mask
			s.Raw, s.Wrong = fmt.Sprintf("%02X", there), there != 0 && !missing(op, r)
		}
		a.claim(s, map[int]byte{at: mask})
	}
}

// flags accounts for each flag of a list.
func (a *accountant) flags(part *payloadPart, op *mapping.Op, r uint64) {
	for i := range op.Type.Bits {
		s := Span{Kind: SpanField, Name: part.elementName(op, i), Raw: fmt.Sprint(r >> i & 1), Value: json.RawMessage(fmt.Sprint(r>>i&1 == 1))}
		if missing(op, r) {
			s.Value, s.Note = nil, "not available"
		}
		a.claim(s, part.some(op, 1<<i))
	}
}

// some are some bits of a field, by byte of the frame.
func (part *payloadPart) some(op *mapping.Op, bits uint64) map[int]byte {
	room := make([]byte, op.StartByte(0)+op.ContainerBytes())
	place(op, room, 0, bits)
	masks := make(map[int]byte)
	for i, mask := range room {
		if mask != 0 {
			masks[part.at+i] = mask
		}
	}
	return masks
}
