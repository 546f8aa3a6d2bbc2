// Package simulate lets the model of a battery bank speak any mapping: it gives the
// traffic of a bus on which the bank's packs talk, unasked or to a master that asks
// them, with the time of the simulation. The same seed gives the same traffic.
//
// What it says is invented. Nobody may act on it.
package simulate

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"sync/atomic"
	"time"

	"packlink/decode"
	"packlink/decode/bank"
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

// queued is a frame that is to be received, and what its turn spoke of.
type queued struct {
	frame transport.Frame
	of    *said
}

// speaker is a pack, or the bank as a whole, that speaks.
type speaker struct {
	pack    int // number of the pack, from 0; -1 for the whole bank
	writer  *decode.Writer
	address uint32
	channel int // of the bus
}

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

// seat finds who speaks. The error names a pack that has an address which none has.
func (t *Traffic) seat() error {
	if bus := t.table.Bus.Registers; bus != nil && bus.ModelsAt >= 0 {
		t.speakers = []speaker{{pack: -1, address: uint32(bus.Units[0])}}
		return nil
	}
	var s pack.Status
	for i := range t.model.Packs() {
		t.model.Status(i, &s)
		if err := checkAddress(t.table, s.Address); err != nil {
			return err
		}
		who := speaker{pack: i, address: s.Address, writer: decode.NewWriter(t.table)}
		if t.table.OneOnABus() {
			who.channel = i
		}
		who.writer.Frozen = t.wire.Freeze
		t.speakers = append(t.speakers, who)
	}
	return nil
}

// checkAddress says that no pack on a bus of the mapping has an address, if it tells
// packs apart by theirs.
func checkAddress(c *mapping.Compiled, address uint32) error {
	least, most := 0, 1<<c.AddressBits()-1
	switch {
	case c.Bus.Registers != nil:
		least, most = c.Bus.Registers.Units[0], c.Bus.Registers.Units[1]
	case c.AddressBits() == 0:
		return nil
	case c.Bus.Serial != nil:
		least, most = c.Bus.Serial.Addresses[0], c.Bus.Serial.Addresses[1]
	}
	if address < uint32(least) || int64(address) > int64(most) {
		return fmt.Errorf("a pack of the scenario has the address %d; by mapping %s packs have %d to %d", address, c.Name, least, most)
	}
	return nil
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

// status is what a speaker knows now.
func (t *Traffic) status(who *speaker, s *pack.Status) {
	if who.pack >= 0 {
		t.model.Status(who.pack, s)
	} else {
		t.whole().Whole.CopyTo(s)
	}
	s.Address, s.HasAddress = who.address, true
}

// whole is the bank now.
func (t *Traffic) whole() *bank.Bank { return Sum(t.model, "simulated") }

// Sum is the bank of a model at its instant, by a name that is also the packs'
// source.
func Sum(model *physics.Bank, name string) *bank.Bank {
	packs := make([]pack.Status, model.Packs())
	for i := range packs {
		model.Status(i, &packs[i])
		packs[i].Source = name
	}
	return bank.Sum(name, pack.Decimal{}, model.Now(), packs)
}
