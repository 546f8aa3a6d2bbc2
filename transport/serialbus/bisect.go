package serialbus

import (
	"slices"
	"time"
)

// refuse takes note that the unit refuses a piece because of its registers. A
// piece that can be cut is asked for in two halves from now on; one that was
// joined, in the parts that were answered, which are not joined again; a single
// register is not asked for any more.
func (b *block) refuse(p *piece, exception byte, now time.Time) {
	b.searching = true
	var instead []*piece
	switch {
	case p.parts != nil:
		for _, part := range p.parts {
			instead = append(instead, p.part(part, true, now))
		}
	case p.Count > 1:
		half := p.Count / 2
		instead = append(instead,
			p.part(Registers{p.Function, p.From, half}, false, now),
			p.part(Registers{p.Function, p.From + half, p.Count - half}, false, now))
	default:
		b.unreadable = append(b.unreadable, refusedRegisters{p.Registers, exception})
	}
	b.replace(p, instead)
}

// abandon stops asking for a piece.
func (b *block) abandon(p *piece, exception byte) {
	b.unreadable = append(b.unreadable, refusedRegisters{p.Registers, exception})
	b.replace(p, nil)
}

func (p *piece) part(r Registers, settled bool, now time.Time) *piece {
	return &piece{Registers: r, every: p.every, tick: p.tick, due: now, settled: settled}
}

func (b *block) replace(p *piece, instead []*piece) {
	i := slices.Index(b.pieces, p)
	b.pieces = slices.Replace(b.pieces, i, i+1, instead...)
}

// join ends a search as soon as each piece is proven: neighbours become one
// piece again, so that the readable registers cost as few requests as can be.
// Parts that were refused when joined stay apart.
func (b *block) join() (done bool) {
	if !b.searching || slices.ContainsFunc(b.pieces, func(p *piece) bool { return !p.proven }) {
		return false
	}
	b.searching = false
	b.pieces = joined(b.pieces)
	b.unreadable = mergeRefused(b.unreadable)
	return true
}

func joined(pieces []*piece) (result []*piece) {
	for _, p := range pieces {
		if len(result) > 0 {
			last := result[len(result)-1]
			if last.From+last.Count == p.From && !last.settled && !p.settled {
				last.absorb(p)
				continue
			}
		}
		result = append(result, p)
	}
	return result
}

// absorb joins the next piece to p.
func (p *piece) absorb(next *piece) {
	if p.parts == nil {
		p.parts = []Registers{p.Registers}
	}
	p.parts = append(p.parts, next.Registers)
	p.Count += next.Count
	if next.tick.Before(p.tick) {
		p.tick = next.tick
	}
	p.due = p.tick
}

// mergeRefused sorts refused registers and joins neighbours.
func mergeRefused(all []refusedRegisters) (result []refusedRegisters) {
	slices.SortFunc(all, func(a, b refusedRegisters) int { return a.From - b.From })
	for _, r := range all {
		if n := len(result); n > 0 && result[n-1].exception == r.exception && result[n-1].From+result[n-1].Count == r.From {
			result[n-1].Count += r.Count
			continue
		}
		result = append(result, r)
	}
	return result
}
