package decode

import (
	"bytes"
	"slices"

	"packlink/mapping"
	"packlink/transport"
)

// Questions finds the questions that reach whoever answers as the packs at some
// addresses: on a serial line or on a CAN bus.
type Questions struct {
	addresses []uint32
	finder    *questionFinder // of a serial line; nil on a CAN bus
	table     *mapping.Compiled
	frames    []questionFrame // on a CAN bus
}

// questionFrame is what asks the pack at an address for a message.
type questionFrame struct {
	frame   transport.Frame
	address uint32
	program *mapping.Program
}

// NewQuestions begins to hear a bus of the mapping. A question that does not say
// which pack is asked is one to the first of the addresses. The error says that an
// address does not fit.
func NewQuestions(c *mapping.Compiled, addresses []uint32) (*Questions, error) {
	q := &Questions{addresses: addresses, table: c}
	if c.Bus.Serial != nil {
		q.finder = newQuestionFinder(c)
		return q, nil
	}
	for i := range c.Programs {
		p := &c.Programs[i]
		if p.CAN == nil || p.CAN.Ask == nil {
			continue
		}
		for _, address := range addresses {
			f, err := QuestionFrame(p, address)
			if err != nil {
				return nil, err
			}
			q.frames = append(q.frames, questionFrame{f, address, p})
		}
	}
	return q, nil
}

// Lost forgets the bytes before a gap in the stream.
func (q *Questions) Lost() {
	if q.finder != nil {
		q.finder.finder.Lost()
	}
}

// Hear takes a frame of the bus, or bytes of the line, and gives each message that is
// asked for in them, and the address of the pack that is.
func (q *Questions) Hear(f *transport.Frame, asked func(address uint32, p *mapping.Program)) {
	if q.finder != nil && f.Medium == transport.Serial {
		q.finder.feed(f.Data, func(a Asked) { q.named(a, asked) })
		return
	}
	for i := range q.frames {
		want := &q.frames[i]
		if f.Medium == transport.CAN && want.program.CAN.Asks(f.ID, want.address) && f.Flags&transport.Extended == want.frame.Flags&transport.Extended &&
			f.Flags&transport.Remote == 0 && bytes.Equal(f.Data, want.frame.Data) {
			asked(want.address, want.program)
		}
	}
}

// named gives the messages that a question of a serial line asks for.
func (q *Questions) named(a Asked, asked func(address uint32, p *mapping.Program)) {
	if !a.Told {
		a.Address = q.addresses[0]
	}
	if !slices.Contains(q.addresses, a.Address) {
		return
	}
	for i := range q.table.Programs {
		if p := &q.table.Programs[i]; p.Asked == a.Program.Index {
			asked(a.Address, p)
		}
	}
}
