package decode

import (
	"time"

	"packlink/mapping"
)

// Timetable says when the messages that packs send unasked are due: each at its
// own period, with the phases spread evenly, and without drift. A message without
// a period is due each second.
type Timetable struct {
	slots []slot
}

// slot is one message of one pack.
type slot struct {
	program *mapping.Program
	pack    int
	every   time.Duration
	due     time.Duration // after the start
}

// NewTimetable makes the timetable of so many packs.
func NewTimetable(c *mapping.Compiled, packs int) *Timetable {
	t := new(Timetable)
	for i := range c.Programs {
		p := &c.Programs[i]
		if p.CAN == nil || p.CAN.Ask != nil || p.ByReader {
			continue
		}
		for n := range packs {
			t.slots = append(t.slots, slot{program: p, pack: n, every: period(p)})
		}
	}
	for i := range t.slots {
		t.slots[i].due = t.slots[i].every * time.Duration(i) / time.Duration(len(t.slots))
	}
	return t
}

// period is the time between two frames of a message.
func period(p *mapping.Program) time.Duration {
	if p.Every == 0 {
		return usualPeriod
	}
	return p.Every
}

// Next is the message that is due next, of which pack (from 0), and how long after
// the start. ok is false if nothing is ever due. Each call takes a message off.
func (t *Timetable) Next() (due time.Duration, packNumber int, p *mapping.Program, ok bool) {
	if len(t.slots) == 0 {
		return 0, 0, nil, false
	}
	next := &t.slots[0]
	for i := range t.slots {
		if s := &t.slots[i]; s.due < next.due {
			next = s
		}
	}
	due = next.due
	next.due += next.every
	return due, next.pack, next.program, true
}

// Skip leaves out what was due a whole period or more before now, a time after the
// start: it is not made up for, and the phases stay.
func (t *Timetable) Skip(now time.Duration) {
	for i := range t.slots {
		if s := &t.slots[i]; s.due < now {
			s.due += (now - s.due) / s.every * s.every
		}
	}
}
