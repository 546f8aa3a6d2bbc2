package decode

import "time"

// Schedule says when things are due that come again and again: each at its own
// period, with the phases spread evenly, and without drift.
type Schedule struct {
	slots []slot
}

type slot struct {
	every time.Duration
	due   time.Duration // after the start
}

// NewSchedule makes the schedule of things with the periods given.
func NewSchedule(every []time.Duration) *Schedule {
	s := &Schedule{slots: make([]slot, len(every))}
	for i, e := range every {
		s.slots[i] = slot{every: e, due: e * time.Duration(i) / time.Duration(len(every))}
	}
	return s
}

// Next is which thing is due next, counted from 0, and how long after the start. It
// is not ok if nothing is ever due. Each call takes it off.
func (s *Schedule) Next() (due time.Duration, index int, ok bool) {
	for i := range s.slots {
		if s.slots[i].due < s.slots[index].due {
			index = i
		}
	}
	if len(s.slots) == 0 {
		return 0, 0, false
	}
	due = s.slots[index].due
	s.slots[index].due += s.slots[index].every
	return due, index, true
}

// Skip leaves out what was due a whole period or more before now, a time after the
// start: it is not made up for, and the phases stay.
func (s *Schedule) Skip(now time.Duration) {
	for i := range s.slots {
		if s := &s.slots[i]; s.due < now {
			s.due += (now - s.due) / s.every * s.every
		}
	}
}
