// Package simulate lets the model of a battery bank speak any mapping: it gives the
// traffic of a bus on which the bank's packs talk, unasked or to a master that asks
// them, with the time of the simulation. The same seed gives the same traffic.
//
// What it says is invented. Nobody may act on it.
package simulate

import (
	"fmt"
	"io"
	"math"
	"os"
	"sync/atomic"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/decode/physics"
	"packlink/mapping"
	"packlink/transport"
)

// Times on the bus (chosen: of a usual magnitude).
const (
	frameTime   = time.Millisecond      // from one frame of a message to the next
	answerTime  = 20 * time.Millisecond // from a question to its answer
	packetPause = 50 * time.Millisecond // between packets of a broadcast transfer: 50 to 200 ms by SAE J1939-21 (from memory)
	usualPeriod = time.Second           // of a message whose mapping gives none
)

// Traffic is the traffic of a bus, or of one for each pack, in the order of its frames' times.
// On a line the master asks the next question when it has the answer to the last one. Traffic
// is a [transport.Receiver] that ends where [Traffic.EndAt] says, and never by itself.
type Traffic struct {
	table    *mapping.Compiled
	model    *physics.Bank
	start    int64
	end      int64
	closed   atomic.Bool
	wire     Wire
	faults   *Faults
	speakers []speaker
	schedule *decode.Schedule
	turns    []turn
	due      time.Duration // of the next turn, after the start
	next     int           // its index
	free     int64         // since when the last question is answered
	queue    []queued      // in the order of their times
	now      *said         // what the turn that is taken speaks of
	newest   *said         // likewise, of the newest frame
}

// New begins the traffic of a scenario's bank from an instant, in nanoseconds since
// the Unix epoch. Where a mapping has no addresses, each pack has a bus of its own: a
// channel. Where its registers are in models, those are of the bank.
func New(c *mapping.Compiled, s *physics.Scenario, start int64, wire Wire) (*Traffic, error) {
	model, err := physics.NewBank(s, start)
	if err != nil {
		return nil, err
	}
	if err := wire.Check(c); err != nil {
		return nil, err
	}
	t := &Traffic{table: c, model: model, start: start, end: math.MaxInt64, wire: wire, faults: NewFaults(wire, s.Seed)}
	if err := t.seat(); err != nil {
		return nil, err
	}
	every, err := t.plan()
	switch {
	case err != nil:
		return nil, err
	case len(every) == 0:
		return nil, fmt.Errorf("mapping %s has nothing that a pack could say", c.Name)
	}
	t.schedule = decode.NewSchedule(every)
	t.due, t.next, _ = t.schedule.Next()
	return t, nil
}

// EndAt ends the traffic before an instant, in nanoseconds since the Unix epoch. It is
// called before Receive.
func (t *Traffic) EndAt(instant int64) { t.end = instant }

// Receive fills f with the next frame. The error is io.EOF at the end of the traffic,
// and os.ErrClosed after Close.
func (t *Traffic) Receive(f *transport.Frame) error {
	for !t.closed.Load() && t.nextAt() < t.end && (len(t.queue) == 0 || t.queue[0].frame.Time > t.nextAt()) {
		t.take(&t.turns[t.next])
		t.due, t.next, _ = t.schedule.Next()
	}
	switch {
	case t.closed.Load():
		return os.ErrClosed
	case len(t.queue) == 0 || t.queue[0].frame.Time >= t.end:
		return io.EOF
	}
	*f, t.newest = t.queue[0].frame, t.queue[0].of
	t.newest.left--
	t.queue = t.queue[1:]
	return nil
}

// Channels is how many buses there are.
func (t *Traffic) Channels() int { return t.speakers[len(t.speakers)-1].channel + 1 }

// Close ends Receive, also one that finds no frame as all of them are lost. It can be
// called at any time.
func (t *Traffic) Close() error {
	t.closed.Store(true)
	return nil
}

// Said is what the newest frame's turn spoke of: what the speaker knew at that instant,
// and the messages that were written of it. more tells whether further frames of that
// turn follow. The status holds until the next call of Receive.
func (t *Traffic) Said() (s *pack.Status, programs []*mapping.Program, more bool) {
	return &t.newest.status, t.newest.programs, t.newest.left > 0
}
