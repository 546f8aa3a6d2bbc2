package serialbus

import (
	"bytes"
	"encoding/binary"
	"time"

	"github.com/grid-x/modbus"

	"packlink/transport"
)

const (
	// holdBack is how long an adapter may keep bytes back in the middle of a message.
	holdBack = 50 * time.Millisecond

	// writeLimit is how long a request may take to be handed over.
	writeLimit = 2 * time.Second

	// muteLimit is how many requests in a row are met by silence until a connection
	// is made anew, as a host that lost its power never says that it is gone.
	muteLimit = 3
)

// idle waits until it is time to ask, and listens meanwhile.
func (p *Poller) idle(open link) {
	turn, b, piece, wake := choose(p.units, p.turn, time.Now())
	start := p.how.start(piece != nil, wake, p.busy, p.ready)
	until := start
	if len(p.heard) > 0 {
		until = soonest(start, p.heardAt.Add(holdBack))
	}
	n, err := p.listen(open, until)
	switch {
	case err != nil:
		p.interrupt(err)
	case n > 0:
	case len(p.heard) > 0:
		p.sortAll()
	case piece != nil && !time.Now().Before(start):
		p.ask(open, turn, b, piece)
	}
}

// start is when the next request may go: the line, which was used last at busy,
// must have been quiet. On a line that is never quiet it goes one time-out after
// it was ready to go all the same.
func (how *policy) start(due bool, wake, busy, ready time.Time) time.Time {
	if !due {
		return wake
	}
	quiet := busy.Add(how.quiet)
	return soonest(later(wake, quiet), later(wake, ready).Add(how.timeout+how.quiet))
}

// soonest is the earlier of two instants, of which the zero time is never.
func soonest(a, b time.Time) time.Time {
	if a.IsZero() || b.Before(a) {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// listen adds to what was heard. A full buffer is handed over as noise, but for
// what can still be the beginning of a message.
func (p *Poller) listen(open link, until time.Time) (int, error) {
	if len(p.heard) == cap(p.heard) {
		n := len(p.heard) - maxADU
		p.mu.Lock()
		p.counts.Noise += int64(n)
		p.mu.Unlock()
		p.hand(p.heardAt, transport.Received, transport.Damaged, p.heard[:n])
		p.keep(n)
		return n, nil
	}
	n, err := open.read(p.heard[len(p.heard):cap(p.heard)], until)
	if n > 0 {
		p.heard = p.heard[:len(p.heard)+n]
		p.heardAt = time.Now()
		p.busy, p.mute = p.heardAt, 0
	}
	return n, err
}

// keep forgets the first n bytes heard. They stay where they are, as frames in
// the outbox may hold them.
func (p *Poller) keep(n int) {
	p.heard, p.spare = append(p.spare[:0], p.heard[n:]...), p.heard
}

// ask sends a request.
func (p *Poller) ask(open link, turn int, b *block, piece *piece) {
	u := p.units[turn]
	frame, err := p.pack(u.id, piece.Registers)
	if err != nil {
		p.interrupt(err)
		return
	}
	now := time.Now()
	p.mu.Lock()
	u.counts.Asked++
	u.counts.Skipped += piece.advance(now)
	p.mu.Unlock()
	p.turn, p.block, p.piece, p.request, p.sent, p.asking = turn, b, piece, frame, now, true
	p.q = question{unit: u.id, function: piece.Function, from: piece.From, count: piece.Count}
	if err := open.write(frame, writeLimit); err != nil {
		p.interrupt(err)
		return
	}
	p.expect(now)
	p.hand(now, transport.Sent, 0, frame)
}

// expect sets the times of the answer. The time-out counts from when the request
// has left the wire; an answer that has begun may take its own time on the wire.
func (p *Poller) expect(now time.Time) {
	var leaving, coming time.Duration
	if !schemes[p.place.endpoint.Scheme].framed {
		leaving, coming = p.place.transmission(requestSize), p.place.transmission(p.q.answerSize())
	}
	p.busy = now.Add(leaving)
	p.firstBy = p.busy.Add(p.how.timeout)
	p.wholeBy = p.firstBy.Add(coming + holdBack)
}

// pack makes the RTU frame of a request.
func (p *Poller) pack(unit byte, r Registers) ([]byte, error) {
	p.rtu.SetSlave(unit)
	data := binary.BigEndian.AppendUint16(nil, uint16(r.From))
	data = binary.BigEndian.AppendUint16(data, uint16(r.Count))
	return p.rtu.Encode(&modbus.ProtocolDataUnit{FunctionCode: r.Function, Data: data})
}

// await listens for the answer.
func (p *Poller) await(open link) {
	until := p.firstBy
	if !bytes.HasPrefix(p.request, p.heard) {
		until = p.wholeBy
		if p.q.ruined(p.heard) {
			until = soonest(until, p.heardAt.Add(holdBack))
		}
	}
	n, err := p.listen(open, until)
	if err != nil {
		p.interrupt(err)
		return
	}
	if n == 0 {
		p.conclude(p.sortAll(), 0)
		return
	}
	if at, s, found := p.q.find(p.heard); found {
		p.accept(at, s)
	}
}

// ruined tells whether an answer to the question has come whole and with a wrong
// CRC, after which no other is to be expected.
func (q *question) ruined(heard []byte) bool {
	for len(heard) > 0 {
		s := first(heard, q)
		if s.shape == damaged {
			return true
		}
		heard = heard[s.size:]
	}
	return false
}

// accept takes an answer. If somebody else has just asked the same unit by the
// same function, nobody knows whose answer it is.
func (p *Poller) accept(at int, s segment) {
	p.sort(p.heard[:at])
	outcome, flags := Answered, transport.Flags(0)
	switch {
	case p.strangerAsked(s):
		p.strangerAt = time.Time{}
		outcome, flags = WrongAnswer, transport.Damaged
	case s.shape == exception:
		outcome = Refused
	}
	p.hand(p.heardAt, transport.Received, flags, p.heard[at:at+s.size])
	p.values = p.heard[min(at+3, at+s.size) : at+s.size]
	p.keep(at + s.size)
	p.conclude(outcome, s.code)
}

// interrupt notes that the line is lost.
func (p *Poller) interrupt(err error) {
	p.sortAll()
	if p.asking {
		p.conclude(Interrupted, 0)
	}
	p.mu.Lock()
	p.counts.Losses++
	p.mu.Unlock()
	p.line.lost(err)
}
