// Package feed gives pack and bank records to whoever asks: over HTTP, as JSON
// lines, and as one line of text for people. Nothing that comes in over the
// network reaches a pack.
package feed

import (
	"time"

	"packlink/decode/pack"
)

// Overdue is how long a published status may be shown. Whoever publishes does
// so at least once a second, also when no frame comes, so that silence shows.
// After Overdue without a new status, HTTP shows none.
const Overdue = 10 * time.Second

// SourceHealth is how one source is doing.
type SourceHealth struct {
	Source string // its name in the configuration
	Fresh  bool   // whether all its packs are heard in time
	Heard  int64  // nanoseconds since the Unix epoch of its newest frame; 0 if it was never heard

	Unexplained bool // whether it is heard, and nothing so far was of its mapping
}

// age is how long ago the newest frame of the status came, as of the status's
// instant; ok is false if none ever came.
func age(s *pack.Status) (d time.Duration, ok bool) {
	return time.Duration(s.Now - s.Time), s.Time != 0
}
