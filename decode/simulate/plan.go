package simulate

import (
	"cmp"
	"time"

	"packlink/decode"
	"packlink/mapping"
	"packlink/transport"
)

// plan finds what happens on the bus, and how often each.
func (t *Traffic) plan() (every []time.Duration, err error) {
	switch {
	case t.table.Bus.Serial != nil:
		return t.planQuestions()
	case t.table.Bus.Registers != nil:
		return t.planRegisters()
	}
	return t.planFrames()
}

// planFrames: on a CAN bus each message is sent unasked, or asked for.
func (t *Traffic) planFrames() (every []time.Duration, err error) {
	for i := range t.table.Programs {
		p := &t.table.Programs[i]
		if p.ByReader {
			continue
		}
		for n := range t.speakers {
			next, period := turn{speaker: n, answers: []*mapping.Program{p}}, cmp.Or(p.Every, usualPeriod)
			if p.CAN.Ask != nil {
				next.question, err = decode.QuestionFrame(p, t.speakers[n].address)
				if err != nil {
					return nil, err
				}
				next.question.Direction, period = transport.Received, max(p.CAN.Ask.Every, period)
			}
			t.turns, every = append(t.turns, next), append(every, period)
		}
	}
	return every, nil
}

// planQuestions: on a serial line a master asks each pack each question.
func (t *Traffic) planQuestions() (every []time.Duration, err error) {
	for n := range t.speakers {
		polls, err := decode.Polls(t.table, []uint32{t.speakers[n].address})
		if err != nil {
			return nil, err
		}
		for _, poll := range polls {
			next := turn{speaker: n, question: transport.Frame{Medium: transport.Serial, Direction: transport.Received, Data: poll.Sent}}
			for i := range t.table.Programs {
				if p := &t.table.Programs[i]; p.Asked == poll.Program.Index {
					next.answers = append(next.answers, p)
				}
			}
			t.turns, every = append(t.turns, next), append(every, poll.Every)
		}
	}
	return every, nil
}
