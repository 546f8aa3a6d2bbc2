package serialbus

import (
	"slices"
	"time"
)

// withhold follows an exception by which a gateway says that it has no answer from
// behind it. Where the unit gave another block the last time that was asked for, the
// unit is there, and only this block is not given now: it waits for its next turn.
// It is told once the unit has given another block since. False is a unit that gives
// nothing.
func (p *Poller) withhold(u *unit, code byte, now time.Time) bool {
	b := p.block
	b.given = false
	if !slices.ContainsFunc(u.blocks, func(other *block) bool { return other.given }) {
		return false
	}
	p.piece.tries = 0
	if b.refused.IsZero() {
		b.refused = now
	}
	since := func(other *block) bool { return other.given && other.answered.After(b.refused) }
	if !b.withheld && slices.ContainsFunc(u.blocks, since) {
		b.withheld = true
		p.say(EventWithheld, u.id, "does not give registers %d to %d now: exception %02X; they are asked for again at their turn",
			p.piece.From, p.piece.From+p.piece.Count-1, code)
	}
	return true
}

// give notes that a block was answered.
func (p *Poller) give(u *unit, now time.Time) {
	b := p.block
	if b.withheld {
		p.say(EventGiven, u.id, "gives registers %d to %d again", p.piece.From, p.piece.From+p.piece.Count-1)
	}
	b.given, b.withheld, b.answered, b.refused = true, false, now, time.Time{}
}
