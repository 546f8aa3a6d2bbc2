package decode

import (
	"packlink/mapping"
	"packlink/mapping/framing"
)

// Asked is a question that was heard.
type Asked struct {
	Program *mapping.Program // the first message that the question is for
	Address uint32           // of the pack that is asked, if Told
	Told    bool             // the question says which pack is asked
}

// serialHead is what stands around a frame's payload.
type serialHead struct {
	values  [framing.MaxParts]uint64
	address uint32
	has     bool // the frame holds an address
}

func readHead(bus *mapping.SerialBus, frame []byte, h *serialHead) {
	bus.Format.Values(frame, &h.values)
	h.address, h.has = 0, bus.Address >= 0
	if h.has {
		h.address = uint32(h.values[bus.Address])
	}
}

// holds tells whether a frame's parts have the values given.
func (h *serialHead) holds(values []mapping.PartValue) bool {
	for _, v := range values {
		if h.values[v.Part] != v.Value {
			return false
		}
	}
	return true
}

// findQuestion is the question that a frame is. Program is nil if it is none.
func findQuestion(c *mapping.Compiled, h *serialHead, data []byte) (q Asked) {
	for i := range c.Programs {
		p := &c.Programs[i]
		if p.Asked != i || !h.holds(p.Ask.Values) || len(data) != len(p.Ask.Data) {
			continue
		}
		q = Asked{Program: p, Told: p.Bus.Told(p.Ask)}
		if q.Told {
			q.Address = h.address
		}
		if q.matches(p.Ask.Data, data) {
			return q
		}
	}
	return Asked{}
}

// matches tells whether a question's data are as expected, and takes the address
// from them if the head does not say it.
func (q *Asked) matches(want []mapping.AskByte, data []byte) bool {
	for i, d := range want {
		if d.Address && !q.Told {
			q.Address, q.Told = uint32(data[i]), true
		}
		if d.Address {
			d.Value = byte(q.Address)
		}
		if data[i] != d.Value {
			return false
		}
	}
	return true
}

// pairs tells whether a frame can be the answer to a question.
func (q *Asked) pairs(p *mapping.Program, h *serialHead) bool {
	return q.Program != nil && p.Asked == q.Program.Index && (!q.Told || !h.has || q.Address == h.address)
}

// pick is the message that a frame is: the one that was asked for, or the only
// one it can be. unasked says that it can be several, and none was asked for.
func pick(c *mapping.Compiled, h *serialHead, data []byte, open *Asked) (p *mapping.Program, unasked bool) {
	for i := range c.Programs {
		candidate := &c.Programs[i]
		switch {
		case !h.holds(candidate.Frame.Values) || !holds(candidate.Tests, data):
		case candidate.Sized && (len(data) < candidate.Least || len(data) > candidate.Most):
		case open.pairs(candidate, h):
			return candidate, false
		case candidate.Alone:
			p = candidate
		default:
			unasked = true
		}
	}
	return p, unasked && p == nil
}
