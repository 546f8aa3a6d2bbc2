package decode

import (
	"fmt"
	"slices"

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
	if len(masks) > 1 && op.Type.Bits == 8*len(masks) && op.Type.Base != mapping.Text {
		s.Bytes = a.bytesOf(masks)
	}
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
	name := fmt.Sprintf("%s (%s)", s.Name, a.outside(masks))
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
