package canbus

import "time"

// backoff is how long to leave a bus alone that is away.
type backoff struct{ wait time.Duration }

const (
	firstWait   = 50 * time.Millisecond
	longestWait = time.Second
)

func (b *backoff) begin() {
	if b.wait == 0 {
		b.wait = firstWait
	}
}

func (b *backoff) again() { b.wait = min(2*b.wait, longestWait) }

func (b *backoff) end() { b.wait = 0 }
