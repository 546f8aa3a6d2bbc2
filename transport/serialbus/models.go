package serialbus

import (
	"encoding/binary"
	"slices"
	"time"
)

// Models are registers in blocks that follow one another behind a mark, each with
// its id and the number of its registers in front, as SunSpec lays them out. They
// are found before they are asked for, and looked for again from time to time.
type Models struct {
	Function byte                          // 3 holding registers, 4 input registers
	Marks    []uint16                      // where the mark can stand, in the order in which to look
	Mark     uint32                        // its two registers
	End      uint16                        // id of what stands behind the last model
	Every    func(id uint16) time.Duration // the period of a model; 0 if it is passed over
}

const (
	walkAgain   = time.Minute      // until a chain of models is looked at again
	markAgain   = 30 * time.Second // until a unit without a mark is looked at again
	mostModels  = 1024             // more are no chain
	modelHeader = 2                // registers of a model's id and length
)

// model is a model that was found.
type model struct {
	id         uint16
	from, size int // with id and length
}

// walk is the way along the models of a unit.
type walk struct {
	mark  int  // which place of the mark is looked at
	at    int  // the next header; 0 while the mark is looked for
	alone bool // only the id is asked for: some devices have no length behind the end
	found []model
}

// walkFrom makes the unit look for its models next.
func (u *unit) walkFrom(w walk, plan *Plan, now time.Time) {
	if u.walk == nil {
		u.before = u.blocks
	}
	u.walk = &w
	asked := Registers{plan.Models.Function, w.at, modelHeader}
	switch {
	case w.at == 0:
		asked.From = int(plan.Models.Marks[w.mark])
	case w.alone:
		asked.Count = 1
	}
	u.blocks = []*block{{pieces: []*piece{{Registers: asked, every: time.Second, due: now, tick: now.Add(time.Second), settled: true}}}}
}

// walked takes the answer to a step of the walk.
func (p *Poller) walked(u *unit, now time.Time) {
	w, m := *u.walk, p.plan.Models
	switch {
	case w.at == 0 && binary.BigEndian.Uint32(p.values) == m.Mark:
		w.at = int(m.Marks[w.mark]) + 2
	case w.at == 0:
		p.walkRefused(u, now)
		return
	default:
		id := binary.BigEndian.Uint16(p.values)
		if id == m.End {
			p.arrive(u, w.found, now)
			return
		}
		if w.alone {
			p.markless(u, now)
			return
		}
		size := int(binary.BigEndian.Uint16(p.values[2:])) + modelHeader
		if w.at+size >= 1<<16 || len(w.found) == mostModels {
			p.markless(u, now)
			return
		}
		w.found = append(slices.Clip(w.found), model{id, w.at, size})
		w.at += size
	}
	u.walkFrom(w, &p.plan, now)
}

// walkRefused goes on where a unit has no such registers: to the next place of the
// mark; to the id alone; past the last model.
func (p *Poller) walkRefused(u *unit, now time.Time) {
	w := *u.walk
	switch {
	case w.at == 0 && w.mark+1 < len(p.plan.Models.Marks):
		w.mark++
	case w.at == 0:
		p.markless(u, now)
		return
	case w.alone:
		p.arrive(u, w.found, now)
		return
	default:
		w.alone = true
	}
	u.walkFrom(w, &p.plan, now)
}

// markless makes a unit in which no chain of models is found wait.
func (p *Poller) markless(u *unit, now time.Time) {
	if !u.markless {
		u.markless = true
		p.say(EventUnreadable, u.id, "has no models behind a mark at %v; they are looked for again every %v", p.plan.Models.Marks, markAgain)
	}
	u.models, u.walk, u.before = nil, nil, nil
	u.walkFrom(walk{}, &p.plan, now)
	u.blocks[0].pieces[0].due = now.Add(markAgain)
}

// arrive ends a walk: the unit's models are asked for from now on. What was found
// out about the registers of a chain that is the same stays.
func (p *Poller) arrive(u *unit, found []model, now time.Time) {
	if u.models != nil && !slices.Equal(u.models, found) {
		p.say(EventAnswering, u.id, "has other models than before; %d are found", len(found))
	} else if u.markless {
		p.say(EventAnswering, u.id, "has models now")
	}
	u.markless, u.walkedAt = false, now
	if u.models != nil && slices.Equal(u.models, found) && u.before != nil {
		u.blocks = u.before
	} else {
		u.blocks = modelBlocks(&p.plan, found, p.how.registers, now)
	}
	u.models, u.walk, u.before = found, nil, nil
}

// modelBlocks are the requests for the models that are wanted.
func modelBlocks(plan *Plan, found []model, most int, now time.Time) []*block {
	wanted := Plan{Units: []byte{0}}
	for _, m := range found {
		if every := plan.Models.Every(m.id); every > 0 {
			wanted.Blocks = append(wanted.Blocks, Block{Function: plan.Models.Function, From: uint16(m.from), Count: m.size, Every: every})
		}
	}
	return schedule(&wanted, most, now)[0].blocks
}

// checkModels looks for the models anew where an answer shows that they changed,
// and after a while.
func (p *Poller) checkModels(u *unit, now time.Time) {
	for _, m := range u.models {
		if m.from == p.q.from && (binary.BigEndian.Uint16(p.values) != m.id || p.q.count > 1 && int(binary.BigEndian.Uint16(p.values[2:])) != m.size-modelHeader) {
			u.walkFrom(walk{}, &p.plan, now)
			return
		}
	}
	if now.Sub(u.walkedAt) >= walkAgain {
		u.walkFrom(walk{}, &p.plan, now)
	}
}
