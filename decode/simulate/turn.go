package simulate

import (
	"bytes"
	"slices"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// turn is what happens at one of the instants of a schedule: a message is sent, or
// asked for and answered.
type turn struct {
	speaker  int
	question transport.Frame // Data is nil if the message is sent unasked
	answers  []*mapping.Program
	from     int // of registers: the first, and how many
	count    int
}

// said is what a turn spoke of, and how many of its frames are still to come.
type said struct {
	status   pack.Status
	programs []*mapping.Program
	left     int
}

// queued is a frame that is to be received, and what its turn spoke of.
type queued struct {
	frame transport.Frame
	of    *said
}

// nextAt is when the next turn happens: when it is due, and the line is free.
func (t *Traffic) nextAt() int64 { return max(t.start+int64(t.due), t.free) }

// take lets one turn happen.
func (t *Traffic) take(turn *turn) {
	who := &t.speakers[turn.speaker]
	at := t.nextAt()
	t.model.Step(time.Duration(at - t.model.Now()))
	t.now = new(said)
	t.status(who, &t.now.status)
	if turn.question.Data != nil {
		q := turn.question
		q.Time, q.Channel = at, who.channel
		t.enqueue(q)
		at += int64(answerTime + t.wire.Delay)
	}
	if t.table.Bus.Registers != nil {
		t.registers(turn, who, at)
	}
	for _, p := range turn.answers {
		at = t.message(who, p, at)
	}
	if t.table.Bus.CAN == nil {
		t.free = at
	}
}

// message puts the frames of a message on the bus, and returns when the next may
// follow.
func (t *Traffic) message(who *speaker, p *mapping.Program, at int64) int64 {
	if !decode.Says(p, &t.now.status) {
		return at
	}
	gap := frameTime
	if p.Transfer == mapping.J1939Protocol {
		gap = packetPause
	}
	err := who.writer.Frames(p, &t.now.status, func(f *transport.Frame) error {
		t.put(f, who, at)
		at += int64(gap)
		return nil
	})
	if err == nil {
		t.now.programs = append(t.now.programs, p)
	}
	return at
}

// put puts a frame of a pack on the bus, as the wire lets it through.
func (t *Traffic) put(f *transport.Frame, who *speaker, at int64) {
	kept := *f
	kept.Time, kept.Channel, kept.Direction, kept.Data = at, who.channel, transport.Received, bytes.Clone(f.Data)
	if t.faults.Pass(&kept) {
		t.enqueue(kept)
	}
}

// enqueue puts a frame of the present turn behind those that are not later.
func (t *Traffic) enqueue(f transport.Frame) {
	t.now.left++
	i := len(t.queue)
	for i > 0 && t.queue[i-1].frame.Time > f.Time {
		i--
	}
	t.queue = slices.Insert(t.queue, i, queued{f, t.now})
}
