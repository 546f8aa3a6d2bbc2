package decode

import (
	"time"

	"packlink/mapping"
)

// Timetable says when the messages that packs send unasked are due. A message
// without a period is due each second.
type Timetable struct {
	*Schedule
	entries []entry
}

// entry is one message of one pack.
type entry struct {
	program *mapping.Program
	pack    int
}

// NewTimetable makes the timetable of so many packs.
func NewTimetable(c *mapping.Compiled, packs int) *Timetable {
	t := new(Timetable)
	var every []time.Duration
	for i := range c.Programs {
		p := &c.Programs[i]
		if p.CAN == nil || p.CAN.Ask != nil || p.ByReader {
			continue
		}
		for n := range packs {
			t.entries, every = append(t.entries, entry{p, n}), append(every, period(p))
		}
	}
	t.Schedule = NewSchedule(every)
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
// the start. It is not ok if nothing is ever due. Each call takes a message off.
func (t *Timetable) Next() (due time.Duration, packNumber int, p *mapping.Program, ok bool) {
	due, i, ok := t.Schedule.Next()
	if !ok {
		return 0, 0, nil, false
	}
	return due, t.entries[i].pack, t.entries[i].program, true
}
