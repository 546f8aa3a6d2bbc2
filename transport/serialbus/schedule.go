package serialbus

import (
	"slices"
	"time"
)

// Registers are neighbouring registers of one table.
type Registers struct {
	Function byte // 3 holding registers, 4 input registers
	From     int  // the first one's address
	Count    int
}

// piece is what one request asks for.
type piece struct {
	Registers
	every   time.Duration
	tick    time.Time   // the next regular turn
	due     time.Time   // the next turn: that one, or earlier for a repetition
	tries   int         // repetitions of the present turn
	misses  int         // of a question: turns in a row without an answer, though others of the pack are answered
	proven  bool        // it was answered
	parts   []Registers // of a joined piece: what it was joined from
	settled bool        // it is not joined any more

	question int // in place of registers, of an asker: the index of its question
}

// advance makes the piece wait for its next tick after an instant, and returns
// the number of ticks left out. The period does not drift.
func (p *piece) advance(now time.Time) (skipped int64) {
	if now.Before(p.tick) {
		p.due = p.tick
		return 0
	}
	ticks := now.Sub(p.tick)/p.every + 1
	p.tick = p.tick.Add(ticks * p.every)
	p.due = p.tick
	return int64(ticks) - 1
}

// block is one request's worth of registers, as the plan has them, and what is
// known to be readable of them.
type block struct {
	pieces     []*piece
	searching  bool // some pieces are not proven
	unreadable []refusedRegisters

	given    bool      // the last time it was asked for
	withheld bool      // it was told that it is not given now
	answered time.Time // when it was given last
	refused  time.Time // since when it is not given; the zero time if it is
}

// refusedRegisters are registers that a unit does not let be read, and why.
type refusedRegisters struct {
	Registers
	exception byte
}

// unit is one unit of the line.
type unit struct {
	id       byte
	blocks   []*block
	rest     time.Time // it is not asked before
	misses   int       // turns in a row without an answer
	heard    time.Time // when a question of it was last answered
	silent   bool
	slow     bool // it was reported to be too slow
	last     question
	walk     *walk    // looks for the models; nil if they are found, or if there are none
	models   []model  // that were found
	before   []*block // of the models, while they are looked at again
	walkedAt time.Time
	markless bool // it was reported to have no models
	counts   UnitCounts
}

// refuses tells whether some registers are not asked for.
func (u *unit) refuses() bool {
	return slices.ContainsFunc(u.blocks, func(b *block) bool { return len(b.unreadable) > 0 })
}

// cut divides a plan's block into requests of at most so many registers.
func (b *Block) cut(most int) (parts []Registers) {
	for first := 0; first < b.Count; {
		end := min(first+most, b.Count)
		for at := end; at < b.Count && at > first; at-- {
			if !slices.Contains(b.Joined, at) {
				end = at
				break
			}
		}
		parts = append(parts, Registers{b.Function, int(b.From) + first, end - first})
		first = end
	}
	return parts
}

// schedule makes the blocks of all units: all are due now, and after that the
// blocks of one period take turns that are spread evenly over it.
func schedule(plan *Plan, most int, now time.Time) []*unit {
	units := make([]*unit, len(plan.Units))
	for i, id := range plan.Units {
		units[i] = &unit{id: id, counts: UnitCounts{Unit: id}}
	}
	perPeriod := map[time.Duration]int{}
	for i := range plan.Blocks {
		b := &plan.Blocks[i]
		parts := b.cut(most)
		perPeriod[b.Every] += len(parts) * len(units)
	}
	placed := map[time.Duration]int{}
	for i := range plan.Blocks {
		b := &plan.Blocks[i]
		for _, part := range b.cut(most) {
			for _, u := range units {
				placed[b.Every]++
				phase := b.Every * time.Duration(placed[b.Every]) / time.Duration(perPeriod[b.Every])
				p := &piece{Registers: part, every: b.Every, due: now, tick: now.Add(phase)}
				u.blocks = append(u.blocks, &block{pieces: []*piece{p}})
			}
		}
	}
	for _, u := range units {
		if plan.Models != nil {
			u.walkFrom(walk{}, plan, now)
		}
	}
	return units
}

// next is the piece of the unit that is due first; nil if there is none.
func (u *unit) next() (of *block, first *piece) {
	for _, b := range u.blocks {
		for _, p := range b.pieces {
			if first == nil || p.due.Before(first.due) {
				of, first = b, p
			}
		}
	}
	return of, first
}

// choose finds what to ask at an instant. Units take turns: from the one after
// the last asked, the first with something due. If there is none, p is nil and
// wake is when there will be; the zero time is never.
func choose(units []*unit, after int, now time.Time) (turn int, b *block, p *piece, wake time.Time) {
	for i := range units {
		turn = (after + 1 + i) % len(units)
		u := units[turn]
		b, p = u.next()
		if p == nil {
			continue
		}
		at := p.due
		if u.rest.After(at) {
			at = u.rest
		}
		if !at.After(now) {
			return turn, b, p, at
		}
		if wake.IsZero() || at.Before(wake) {
			wake = at
		}
	}
	return 0, nil, nil, wake
}
