package decode

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math/bits"
	"slices"

	"packlink/mapping"
	"packlink/transport"
)

// AccountCAN accounts for a frame of a CAN bus. Of a message that is a transfer
// its data are the whole payload, as it was put together.
func AccountCAN(c *mapping.Compiled, f *transport.Frame) *Account {
	extended := f.Flags&transport.Extended != 0
	a := newAccountant(f.Data, "id %s", idText(f.ID, extended))
	if f.Flags&transport.Remote != 0 {
		a.problem("a remote frame asks for data and holds none")
	}
	p := c.FindCAN(f.ID, extended)
	if p != nil && len(p.Tests) > 0 {
		p = choose(p, f.ID, f.Data)
	}
	if p == nil {
		a.unmatched(c, f.ID, extended)
		return a.done()
	}
	address, has := address(p, f.ID, f.Data)
	a.says(address, has)
	what := ""
	if p.Transfer != mapping.OneFrame {
		what = fmt.Sprintf(" when it is put together from a transfer by %s", p.Transfer)
		a.Frame += ", the payload of a transfer by " + p.Transfer.String()
	}
	if len(f.Data) < p.Least || len(f.Data) > p.Most {
		a.problem("it has %d bytes and the message %s%s, so the frame is refused", len(f.Data), lengthText(p), what)
	}
	if p.Passed {
		a.problem("the message is sent to the pack: it says nothing of it")
	}
	end := min(len(f.Data), p.Most)
	a.payload(p, payloadPart{data: f.Data[:end], end: end})
	a.reserve(0, end, p.Fill)
	a.rest(SpanBeyond, "behind the end of the message")
	return a.done()
}

func lengthText(p *mapping.Program) string {
	if p.Least == p.Most {
		return fmt.Sprint(p.Least)
	}
	return fmt.Sprintf("%d to %d", p.Least, p.Most)
}

func idText(id uint32, extended bool) string {
	if extended {
		return fmt.Sprintf("%08X", id)
	}
	return fmt.Sprintf("%03X", id)
}

// mostNearest is how many messages are proposed for a frame that is none.
const mostNearest = 3

// unmatched says why no message has the id, and which are near: first those of
// the id whose constants differ, then those whose ids differ in the fewest bits.
func (a *accountant) unmatched(c *mapping.Compiled, id uint32, extended bool) {
	a.rest(SpanUnknown, "of no message")
	var near []*mapping.Program
	distance := func(p *mapping.Program) int {
		d := bits.OnesCount32((p.CAN.ID ^ id) & p.CAN.Mask())
		if p.CAN.Extended != extended {
			d += 100
		}
		return d
	}
	for i := range c.Programs {
		if c.Programs[i].CAN != nil {
			near = append(near, &c.Programs[i])
		}
	}
	slices.SortStableFunc(near, func(p, other *mapping.Program) int { return cmp.Compare(distance(p), distance(other)) })
	if len(near) > 0 && distance(near[0]) == 0 {
		a.problem("messages have this id, but none has these bytes: their constants differ")
	} else {
		a.problem("no message has this id")
	}
	for _, p := range near[:min(len(near), mostNearest)] {
		text := fmt.Sprintf("%s: id %s", p.Name, idText(p.CAN.ID, p.CAN.Extended))
		if distance(p) == 0 {
			text += constantsText(p)
		}
		a.Nearest = append(a.Nearest, text)
	}
}

// constantsText is what a message's constants are.
func constantsText(p *mapping.Program) (text string) {
	for i := range p.Message.Fields {
		if f := &p.Message.Fields[i]; f.Equals != nil {
			text += fmt.Sprintf(", %s at byte %d equals %d", f.Type.Name, f.At, f.Equals.Raw)
		}
	}
	return text
}

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
