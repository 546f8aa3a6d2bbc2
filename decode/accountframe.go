package decode

import (
	"cmp"
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
