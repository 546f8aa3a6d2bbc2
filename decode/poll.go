package decode

import (
	"slices"
	"time"

	"packlink/mapping"
	"packlink/mapping/framing"
)

// Poll is a question that is asked again and again.
type Poll struct {
	Asked
	Sent  []byte // as it stands on the line
	Every time.Duration
}

// Usual period of a message or a question whose file says none (chosen).
const usualPeriod = time.Second

// Polls are the questions of a mapping of a serial line for the packs at some
// addresses: each question once for each pack, and one that does not say which
// pack is asked, once; none of those needs an address. The error says which
// address does not fit.
func Polls(c *mapping.Compiled, addresses []uint32) (polls []Poll, err error) {
	if len(addresses) == 0 {
		addresses = []uint32{0}
	}
	for _, address := range addresses {
		for i := range c.Programs {
			p := &c.Programs[i]
			if p.Asked != i {
				continue
			}
			sent, err := Question(p, address, nil)
			if err != nil {
				return nil, err
			}
			if slices.ContainsFunc(polls, func(other Poll) bool { return slices.Equal(other.Sent, sent) }) {
				continue
			}
			q := Asked{Program: p, Address: address, Told: p.Bus.Names(p.Ask)}
			every := p.Ask.Every
			if every == 0 {
				every = usualPeriod
			}
			polls = append(polls, Poll{q, sent, every})
		}
	}
	return polls, nil
}

// Ear hears the bytes of a serial line and knows the answer to a question.
type Ear struct {
	table  *mapping.Compiled
	finder *framing.Finder
	head   serialHead
	open   Asked
}

// NewEar begins a line of the mapping's bus, which is a serial one.
func NewEar(c *mapping.Compiled) *Ear {
	return &Ear{table: c, finder: c.Bus.Serial.Format.NewFinder()}
}

// Expect notes the question that was asked last.
func (e *Ear) Expect(q Asked) { e.open = q }

// Lost forgets the bytes before a gap in the stream.
func (e *Ear) Lost() { e.finder.Lost() }

// Heard takes the next bytes, and tells whether an answer to the question ends in
// them. An answer by other means than the question's message, such as a refusal,
// is none.
func (e *Ear) Heard(data []byte) (answered bool) {
	for _, b := range data {
		frame, found := e.finder.Feed(b)
		if !found {
			continue
		}
		readHead(e.table.Bus.Serial, frame, &e.head)
		payload := e.table.Bus.Serial.Format.Data(frame)
		if findQuestion(e.table, &e.head, payload).Program != nil {
			continue // an echo, or somebody else's
		}
		p, _ := pick(e.table, &e.head, payload, &e.open)
		answered = answered || p != nil && e.open.pairs(p, &e.head)
	}
	return answered
}
