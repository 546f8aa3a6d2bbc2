package decode

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"

	"packlink/decode/pack"
	"packlink/mapping"
)

// payloadPart is the payload of a message inside a frame, or the part of it that
// is there.
type payloadPart struct {
	program    *mapping.Program
	data       []byte // the payload; bytes that are not there are 0
	first, end int    // bytes that are there
	at         int    // place of the payload's byte 0 in the frame, negative if it is not there
	lets       lets
	cell       int // that the fields of one cell speak of, from 0
}

// payload accounts for the fields of a message.
func (a *accountant) payload(p *mapping.Program, part payloadPart) {
	part.program = p
	a.message(p)
	for i := range p.Named {
		op := &p.Named[i]
		moved := part.behindLists(op)
		if moved.has(op, 0) && !readNamed(p.Named[i:i+1], part.data, nil, &part.lets) {
			a.problem("%s is outside its range, so the whole frame is refused", op.Let)
		}
	}
	for i := range p.Message.Fields {
		a.fieldOf(&part, &p.Message.Fields[i], p.Named, p.Body.All)
	}
}

// fieldOf accounts for a field, whose operation is among those given.
func (a *accountant) fieldOf(part *payloadPart, f *mapping.Field, ops ...[]mapping.Op) {
	for _, list := range ops {
		for i := range list {
			if list[i].Field == f {
				a.field(part, &list[i])
				return
			}
		}
	}
}

// behindLists is the part that a field counts its place from.
func (part payloadPart) behindLists(op *mapping.Op) payloadPart {
	begin := part.lets.begin(op)
	part.data = part.data[min(begin, len(part.data)):]
	part.first, part.end, part.at = part.first-begin, part.end-begin, part.at+begin
	return part
}

// has tells whether the bytes of a field's element are there.
func (part *payloadPart) has(op *mapping.Op, element int) bool {
	start := op.StartByte(element)
	return start >= part.first && start+op.ContainerBytes() <= part.end
}

// masks are the bits of a field's element, by byte of the frame. What is beyond
// the part's end is among them.
func (part *payloadPart) masks(op *mapping.Op, element int) map[int]byte {
	start := op.StartByte(element)
	room := make([]byte, start+op.ContainerBytes())
	if op.Type.Base == mapping.Text {
		for i := start; i < len(room); i++ {
			room[i] = 0xFF
		}
	} else {
		place(op, room, element*op.StepBytes, op.Mask)
	}
	masks := make(map[int]byte)
	for i, mask := range room {
		if mask != 0 {
			masks[part.at+i] = mask
		}
	}
	return masks
}

// field accounts for the elements of a field that are counted, if what it depends
// on says that it is there.
func (a *accountant) field(part *payloadPart, op *mapping.Op) {
	if !part.lets.meets(op) {
		return
	}
	moved := part.behindLists(op)
	count, known := part.lets.count(op)
	if !known {
		return
	}
	for i := range count {
		a.element(&moved, op, i)
	}
}

func (a *accountant) element(part *payloadPart, op *mapping.Op, i int) {
	s := Span{Kind: SpanField, Name: part.elementName(op, i)}
	masks := part.masks(op, i)
	if !part.has(op, i) {
		a.cut(part, op, s, masks)
		return
	}
	raws := part.raw(op, i)
	s.Raw = fmt.Sprintf("%0*X", (op.Type.Bits+3)/4, raws)
	switch op.Kind {
	case mapping.OpLet:
		part.named(&s, op, raws)
	case mapping.OpEquals:
		s.Kind, s.Name = SpanConstant, ""
		if s.Wrong = raws != op.Equals.Raw; s.Wrong {
			s.Note = fmt.Sprintf("in this message it is %X", op.Equals.Raw)
		}
	case mapping.OpAddress:
		s.Kind, s.Value = SpanAddress, number(raws)
	case mapping.OpCodes:
		s.coded(op, i, raws)
	case mapping.OpAlarms:
		a.slots(part, op, raws)
		return
	case mapping.OpFlags:
		a.flags(part, op, raws)
		return
	default:
		part.value(&s, op, i, raws)
	}
	a.claim(s, masks)
}

// cut accounts for a field of which not every byte is there.
func (a *accountant) cut(part *payloadPart, op *mapping.Op, s Span, masks map[int]byte) {
	name := s.Name
	if op.Optional {
		name += ", which may be left off"
	}
	if !slices.Contains(a.Absent, name) {
		a.Absent = append(a.Absent, name)
	}
	s.Kind, s.Note, s.Wrong = SpanCut, "the rest of the field is missing", true
	s.Raw = a.bytesOf(masks)
	a.claim(s, masks)
}

// raw are the bits of a field's element.
func (part *payloadPart) raw(op *mapping.Op, element int) uint64 {
	if op.Type.Base == mapping.Text {
		return 0
	}
	return raw(op, window(part.data, op.Start+element*op.StepBytes))
}

// elementName is what a field's element is called.
func (part *payloadPart) elementName(op *mapping.Op, element int) string {
	if op.Target == nil || !op.Quantity.Row().Kind.List() {
		return fieldName(op)
	}
	if first, known := part.lets.first(op); known {
		return fmt.Sprintf("%s[%d]", op.Quantity, first+part.cell+element+1)
	}
	return op.Quantity.String()
}

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
	if op.Target != nil && op.Kind == mapping.OpText {
		target := *op.Target
		field := *op.Field
		target.Element, field.Target = 0, &target
		one[0].Field = &field
	}
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
