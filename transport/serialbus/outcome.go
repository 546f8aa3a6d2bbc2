package serialbus

import (
	"fmt"
	"time"
)

// The waits after a request without a good answer.
const (
	firstRetry  = 100 * time.Millisecond // before the first repetition; each next one is twice as long
	lastRetry   = 5 * time.Second
	firstAbsent = time.Second // before a silent unit is asked again; each next one is twice as long
	lastAbsent  = 30 * time.Second
)

// reaction is what follows an exception.
type reaction uint8

const (
	askLater    reaction = iota // at the registers' next turn
	askHalves                   // some registers cannot be read: find those that can
	askNever                    // until the unit or the line comes back
	treatAbsent                 // a gateway says that the unit, or this part of it, does not answer
)

// reactions are those to the exceptions of MODBUS Application Protocol V1.1b3,
// section 7. One that is not here, such as 04, 05, 06 and 08, passes.
var reactions = map[byte]reaction{
	0x01: askNever, // illegal function
	0x02: askHalves,
	0x03: askNever, // illegal quantity
	0x0A: treatAbsent,
	0x0B: treatAbsent,
}

// conclude ends an exchange.
func (p *Poller) conclude(outcome Outcome, code byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	u, now := p.units[p.turn], time.Now()
	u.counts.Outcomes[outcome]++
	wasAnswering := u.last.answered
	p.asking, p.ready = false, now
	p.q.answered = outcome == Answered || outcome == Refused
	u.last = p.q
	switch outcome {
	case Answered:
		p.piece.tries, p.piece.proven = 0, true
		p.give(u, now)
		p.search(u, p.block)
		walking := u.walk != nil
		p.present(u, now)
		switch {
		case walking:
			p.walked(u, now)
		case p.plan.Models != nil:
			p.checkModels(u, now)
		}
	case Refused:
		p.refused(u, code, now)
	case NoAnswer:
		p.absent(u, now)
		if wasAnswering {
			p.letRepeat(u)
		}
		p.reconnect()
	case Interrupted:
	default:
		p.repeat(u, now)
	}
}

// present notes that a unit answers. One that was silent may be another one now,
// or changed, so what was found out about its registers is forgotten.
func (p *Poller) present(u *unit, now time.Time) {
	u.misses, u.rest = 0, time.Time{}
	if !u.silent {
		return
	}
	u.silent = false
	p.say(EventAnswering, u.id, "answers again")
	switch {
	case p.plan.Models != nil && u.walk == nil:
		u.walkFrom(walk{}, &p.plan, now)
	case p.plan.Models == nil && u.refuses():
		u.blocks = schedule(&p.plan, p.how.registers, now)[p.turn].blocks
	}
}

// refused follows an exception.
func (p *Poller) refused(u *unit, code byte, now time.Time) {
	if reactions[code] == treatAbsent {
		if !p.withhold(u, code, now) {
			p.absent(u, now)
		}
		return
	}
	p.piece.tries = 0
	if u.walk != nil {
		p.present(u, now)
		p.walkRefused(u, now)
		return
	}
	switch reactions[code] {
	case askHalves:
		p.block.refuse(p.piece, code, now)
		p.search(u, p.block)
	case askNever:
		p.block.abandon(p.piece, code)
		p.sayUnreadable(u, refusedRegisters{p.piece.Registers, code})
	}
	p.present(u, now)
}

// search reports what a finished search found.
func (p *Poller) search(u *unit, b *block) {
	if !b.join() {
		return
	}
	for _, r := range b.unreadable {
		p.sayUnreadable(u, r)
	}
}

func (p *Poller) sayUnreadable(u *unit, r refusedRegisters) {
	advice := ""
	if r.exception == 0x03 {
		advice = fmt.Sprintf("; if %d registers are too many for one request, the option registers sets the most", r.Count)
	}
	p.say(EventUnreadable, u.id, "refuses registers %d to %d by function %d with exception %02X; they are not asked for until the unit or the line comes back%s",
		r.From, r.From+r.Count-1, r.Function, r.exception, advice)
}

// absent follows silence: a few repetitions, and then the unit is asked ever more
// rarely until it answers.
func (p *Poller) absent(u *unit, now time.Time) {
	if !u.silent && p.repeat(u, now) {
		return
	}
	if !u.silent {
		u.silent = true
		for _, b := range u.blocks {
			b.given = false
		}
		p.say(EventSilent, u.id, "does not answer; it is asked again ever more rarely, at last every %v", lastAbsent)
	}
	u.rest = now.Add(growing(firstAbsent, u.misses, lastAbsent))
	u.misses++
}

// letRepeat makes the units that do not answer wait until one that did so far had
// its repetition. A request without an answer makes some units deaf for the next
// one, which they take for the answer (seen with libmodbus 3.1.6): without this a
// dead unit, always asked just before, would take a living one along.
func (p *Poller) letRepeat(u *unit) {
	for _, other := range p.units {
		if other != u && !other.last.answered {
			other.rest = later(other.rest, u.rest.Add(firstRetry))
		}
	}
}

// repeat makes the request be asked again soon. It is false when that was done
// often enough; then the registers wait for their next turn.
func (p *Poller) repeat(u *unit, now time.Time) bool {
	if p.piece.tries >= p.how.retries {
		p.piece.tries = 0
		return false
	}
	u.rest = now.Add(growing(firstRetry, p.piece.tries, lastRetry))
	p.piece.due = now
	p.piece.tries++
	return true
}

// growing is a wait that doubles with each step up to a limit.
func growing(wait time.Duration, steps int, limit time.Duration) time.Duration {
	for range steps {
		wait = min(2*wait, limit)
	}
	return wait
}

// reconnect makes a connection anew on which nothing is heard any more.
func (p *Poller) reconnect() {
	p.mute++
	if p.mute >= muteLimit && p.place.endpoint.Scheme != "serial" {
		p.mute = 0
		p.line.renew()
	}
}
