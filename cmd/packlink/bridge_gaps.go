package main

import "time"

const (
	publishGap   = 500 * time.Microsecond // between two states, on average at least
	publishBurst = 8                      // states that may follow each other without a gap
)

// gaps keeps states apart on a busy bus: each uses up one gap, and a few may be saved.
type gaps struct{ usedUpTo time.Time }

// wait waits until there is a gap to be used.
func (g *gaps) wait() {
	if oldest := time.Now().Add(-publishBurst * publishGap); g.usedUpTo.Before(oldest) {
		g.usedUpTo = oldest
	}
	g.usedUpTo = g.usedUpTo.Add(publishGap)
	time.Sleep(time.Until(g.usedUpTo))
}
