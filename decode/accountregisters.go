package decode

import (
	"encoding/binary"
	"fmt"
	"slices"

	"packlink/mapping"
)

// AccountRegisters accounts for registers that follow one another from a PDU
// address on, two bytes each.
func AccountRegisters(c *mapping.Compiled, from int, data []byte) *Account {
	a := newAccountant(data, "registers %d to %d", from, from+max(len(data)/2-1, 0))
	a.evenBytes(len(data))
	a.registers(c, from, 0, len(data))
	a.rest(SpanUnknown, "registers of no message")
	return a.done()
}

func (a *accountant) evenBytes(n int) {
	if n%2 != 0 {
		a.problem("a register has two bytes, and there are %d", n)
	}
}

// registers accounts for the bytes from at to end of the frame, which are
// registers from a PDU address on.
func (a *accountant) registers(c *mapping.Compiled, from, at, end int) {
	a.register, a.registersFrom, a.registersTo = from, at, end
	for i := range c.Programs {
		p := &c.Programs[i]
		base := at + 2*(p.Read.From-from)
		size := 2 * p.Read.Count
		if p.Read.Model != 0 || base >= end || base+size <= at {
			continue
		}
		first, last := max(at, base), min(end, base+size)
		image := make([]byte, size)
		copy(image[first-base:], a.frame[first:last])
		a.payload(p, payloadPart{data: image, first: first - base, end: last - base, at: base})
		a.reserve(first, last, 0)
	}
	if len(a.Messages) > 0 {
		return
	}
	a.problem("no message has these registers")
	for i := range c.Programs {
		if p := &c.Programs[i]; p.Read.Model == 0 && len(a.Nearest) < mostNearest {
			a.Nearest = append(a.Nearest, fmt.Sprintf("%s: registers %d to %d", p.Name, p.Read.From, p.Read.From+p.Read.Count-1))
		}
	}
}

// AccountModel accounts for a SunSpec model, from its id on.
func AccountModel(c *mapping.Compiled, data []byte) *Account {
	a := newAccountant(data, "a model")
	a.registersTo = len(data)
	a.evenBytes(len(data))
	if len(data) < 4 {
		a.problem("a model begins with its id and its length, four bytes")
		a.rest(SpanUnknown, "")
		return a.done()
	}
	id, length := int(binary.BigEndian.Uint16(data)), int(binary.BigEndian.Uint16(data[2:]))
	a.Frame = fmt.Sprintf("model %d, %d registers", id, len(data)/2)
	a.claimBytes(Span{Kind: SpanHead, Name: "model", Value: number(int64(id))}, 0, 2)
	s := Span{Kind: SpanLength, Name: "length", Value: number(int64(length))}
	if s.Wrong = 2*length != len(data)-4; s.Wrong {
		s.Note = fmt.Sprintf("the bytes behind it are %d registers", (len(data)-4)/2)
	}
	a.claimBytes(s, 2, 4)
	at := slices.IndexFunc(c.Programs, func(p mapping.Program) bool { return p.Read.Model == id })
	if at < 0 {
		a.problem("the mapping has no model %d", id)
		for i := range c.Programs {
			a.Nearest = append(a.Nearest, fmt.Sprintf("%s: model %d", c.Programs[i].Name, c.Programs[i].Read.Model))
		}
		a.rest(SpanUnknown, "of no message")
		return a.done()
	}
	a.model(&c.Programs[at])
	return a.done()
}

// model accounts for the points of a model, then for those of its groups.
func (a *accountant) model(p *mapping.Program) {
	size := 2 * p.Read.Count
	image := make([]byte, size)
	end := copy(image, a.frame)
	part := payloadPart{data: image, end: end}
	a.payload(p, part)
	if at := 2 * p.Read.PackAt; at > 0 && at+2 <= end {
		a.claimBytes(Span{Kind: SpanHead, Name: "pack", Value: number(int64(packNumber(p, image)))}, at, at+2)
	}
	a.reserve(0, end, 0)
	for i := range p.Named {
		readNamed(p.Named[i:i+1], image, nil, &part.lets)
	}
	if each := p.Message.Each; each != nil {
		for ; size < len(a.frame); size += 2 * each.Size {
			a.group(&part, each, p.Each.All, size)
		}
	}
	if cells := p.Message.Cells; cells != nil {
		for ; size < len(a.frame); size += 2 * cells.Size {
			a.group(&part, cells, p.Cells.All, size)
			part.cell++
		}
	}
	a.rest(SpanBeyond, "behind the end of the model")
}

// group accounts for one group of a model, which begins at a byte of the frame.
func (a *accountant) group(part *payloadPart, g *mapping.Group, ops []mapping.Op, at int) {
	group := make([]byte, 2*g.Size)
	part.data, part.at, part.first = group, at, 0
	part.end = copy(group, a.frame[at:])
	for i := range g.Fields {
		a.fieldOf(part, &g.Fields[i], ops)
	}
	a.reserve(at, at+len(group), 0)
}
