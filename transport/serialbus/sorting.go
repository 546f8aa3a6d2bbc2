package serialbus

import (
	"bytes"
	"time"

	"packlink/transport"
)

// severity orders what was heard in place of an answer: the outcome of the
// request is the gravest.
var severity = [outcomes]int{NoAnswer: 0, Unclear: 1, WrongUnit: 2, WrongAnswer: 3, Half: 4, BadChecksum: 5}

// sortAll sorts and hands over all that was heard.
func (p *Poller) sortAll() Outcome {
	outcome := p.sort(p.heard)
	p.keep(len(p.heard))
	return outcome
}

// sort hands over bytes that are not the answer, and says what they mean for the
// request that waits for one.
func (p *Poller) sort(heard []byte) Outcome {
	p.mu.Lock()
	defer p.mu.Unlock()
	outcome := NoAnswer
	var q *question
	if p.asking {
		q = &p.q
	}
	for len(heard) > 0 {
		s := first(heard, q)
		if o := p.judge(s, heard[:s.size]); severity[o] > severity[outcome] {
			outcome = o
		}
		p.hand(p.heardAt, transport.Received, transport.Damaged, heard[:s.size])
		heard = heard[s.size:]
	}
	return outcome
}

// judge counts one run of what was heard.
func (p *Poller) judge(s segment, data []byte) Outcome {
	switch s.shape {
	case noise:
		p.counts.Noise += int64(len(data))
		if !p.asking {
			p.sayOnce(EventNoise, "bytes that nobody asked for were heard, and there is no message in them: noise, a wrong speed, or another protocol")
		}
		return Unclear
	case damaged:
		return BadChecksum
	case half:
		return Half
	case request:
		if bytes.Equal(data, p.request) {
			p.counts.Echoes++
			return NoAnswer
		}
		p.stranger, p.strangerAt = question{unit: s.unit, function: s.function}, p.heardAt
		return p.foreign(s)
	}
	return p.judgeAnswer(s)
}

// judgeAnswer counts an answer that is not the one to the request.
func (p *Poller) judgeAnswer(s segment) Outcome {
	if p.strangerAsked(s) {
		p.strangerAt = time.Time{}
		return p.foreign(s)
	}
	if u := p.unitOf(s.unit); u != nil && u.last.matches(s) {
		p.repeated(u)
		return NoAnswer
	}
	switch {
	case !p.asking:
		return p.foreign(s)
	case s.unit == p.q.unit:
		return WrongAnswer
	}
	return WrongUnit
}

// strangerAsked tells whether the answer can be to somebody else's request.
func (p *Poller) strangerAsked(s segment) bool {
	return p.stranger.unit == s.unit && p.stranger.function == s.function &&
		!p.strangerAt.IsZero() && p.heardAt.Sub(p.strangerAt) < p.how.timeout
}

func (p *Poller) foreign(s segment) Outcome {
	p.counts.Strangers++
	p.sayOnce(EventStranger, "somebody else is asking on this line: a message of unit %d, function %d was heard that nobody asked for here", s.unit, s.function)
	return NoAnswer
}

func (p *Poller) unitOf(id byte) *unit {
	for _, u := range p.units {
		if u.id == id {
			return u
		}
	}
	return nil
}

// repeated counts an answer to the last request of a unit that came too late, or
// once more.
func (p *Poller) repeated(u *unit) {
	if u.last.answered {
		u.counts.Outcomes[Double]++
		return
	}
	u.last.answered = true
	p.tooLate(u)
}

func (p *Poller) tooLate(u *unit) {
	u.counts.Outcomes[Late]++
	if !u.slow {
		u.slow = true
		p.say(EventSlow, u.id, "answers, but after the time-out of %v; the option timeout makes it longer", p.how.timeout)
	}
}

// lateMessage counts an answer that Modbus/TCP names as one to an older request.
func (p *Poller) lateMessage(frame []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if u := p.unitOf(frame[0]); u != nil {
		p.tooLate(u)
		return
	}
	p.counts.Strangers++
}
