package serialbus

import (
	"context"
	"crypto/tls"
	"fmt"
	"sync"
	"time"

	"packlink/transport"
)

// heardLength is the most bytes that are kept until it is clear what they are.
const heardLength = 2048

// Poller asks units for registers and hands over what goes by.
type Poller struct {
	line  *line
	place *place
	how   policy
	plan  Plan
	rtu   packager
	tell  func(Event)

	asking  bool      // a request is on its way
	q       question  // the present one, or the last
	values  []byte    // of its answer, and the CRC behind them
	request []byte    // its frame
	turn    int       // the unit it is for
	block   *block    // what it is about
	piece   *piece    //
	sent    time.Time // when it was handed over
	firstBy time.Time // the answer must have begun
	wholeBy time.Time // the answer must be whole

	heard   []byte    // what is not yet sorted
	spare   []byte    // the other buffer
	heardAt time.Time // when the last byte of it came
	busy    time.Time // when the line was last used
	ready   time.Time // since when the next request could go
	mute    int       // requests in a row after which nothing at all was heard

	stranger   question // the last request of somebody else
	strangerAt time.Time
	reported   map[EventKind]bool // what is said once only
	lost       bool               // frames may be missing before the next one

	outbox    []transport.Frame
	delivered int
	events    []Event

	mu     sync.Mutex // guards what Counts reads
	units  []*unit
	counts Counts
}

// TransmitPolls opens a line and asks the units of a plan for registers. It
// transmits requests, of functions 3 and 4 only; nothing can be written with it.
// The endpoint is serial:/dev/ttyUSB0?baud=9600&frame=8N1, a serial device server
// tcp:192.0.2.7:4001, modbus-tcp:192.0.2.7:502 or modbus-tls:192.0.2.7:802 with the
// options ca, cert and key (files in PEM). The options timeout, quiet, registers,
// which outrank the plan, and retries say how to ask; for tcp, baud and frame
// say how fast the line behind the server is.
//
// A line that is lost later is opened again by the same name, after 100 ms to 5 s.
// report, which may be nil, hears of what a person should know, in the goroutine
// that receives. The end of ctx closes the poller. The error is an [*Error].
func TransmitPolls(ctx context.Context, e transport.Endpoint, plan Plan, report func(Event)) (*Poller, error) {
	at, err := readPlace(e, true)
	if err != nil {
		return nil, err
	}
	if err := plan.check(e); err != nil {
		return nil, err
	}
	how, err := readPolicy(at, &plan)
	if err != nil {
		return nil, err
	}
	var encryption *tls.Config
	if e.Scheme == "modbus-tls" {
		if encryption, err = security(e); err != nil {
			return nil, err
		}
	}
	p := newPoller(at, how, plan)
	if err := p.open(ctx, p.dialer(encryption), report); err != nil {
		return nil, err
	}
	return p, nil
}

func newPoller(at *place, how policy, plan Plan) *Poller {
	now := time.Now()
	return &Poller{
		place: at, how: how, plan: plan, rtu: newRTU(), units: schedule(&plan, how.registers, now), turn: -1,
		ready: now, heard: make([]byte, 0, heardLength), spare: make([]byte, 0, heardLength), reported: map[EventKind]bool{},
	}
}

func (p *Poller) open(ctx context.Context, dial func(context.Context) (link, error), report func(Event)) (err error) {
	p.tell = report
	if report == nil {
		p.tell = func(Event) {}
	}
	p.line, err = openLine(ctx, p.place.endpoint.String(), dial, report)
	return err
}

// dialer opens the line for RTU frames.
func (p *Poller) dialer(encryption *tls.Config) func(context.Context) (link, error) {
	if !schemes[p.place.endpoint.Scheme].framed {
		return p.place.open
	}
	return func(ctx context.Context) (link, error) {
		conn, err := dial(ctx, p.place.endpoint, encryption)
		if err != nil {
			return nil, err
		}
		return newGateway(conn, p.lateMessage), nil
	}
}

// Receive fills f with the next frame: a request as it was sent, or what was heard.
// All frames are RTU frames with their CRC, also on Modbus/TCP. The answer to the
// request sent last is Received and has no flag, but for Lost on the first frame
// after a loss of the line. Whatever else was heard, such as noise, late and second
// answers, and the messages of others, is Received and Damaged, so that a decoder
// leaves it alone and a recording is complete; on Modbus/TCP late answers are
// counted but not handed over.
//
// Requests are sent while Receive runs, so it is to be called again without
// delay. It returns io.EOF once the poller is closed; there is no other error.
func (p *Poller) Receive(f *transport.Frame) error {
	for p.delivered == len(p.outbox) {
		p.outbox, p.delivered = p.outbox[:0], 0
		if err := p.step(); err != nil {
			return err
		}
		for _, e := range p.events {
			p.tell(e)
		}
		p.events = p.events[:0]
	}
	*f = p.outbox[p.delivered]
	p.delivered++
	return nil
}

// Close ends a Receive at once and closes the line.
func (p *Poller) Close() error { return p.line.close() }

// Counts is how polling went so far. It may be called at any time.
func (p *Poller) Counts() Counts {
	p.mu.Lock()
	defer p.mu.Unlock()
	counts := p.counts
	counts.Units = make([]UnitCounts, len(p.units))
	for i, u := range p.units {
		counts.Units[i] = u.counts
		counts.Units[i].Silent = u.silent
		for _, b := range u.blocks {
			for _, r := range b.unreadable {
				counts.Units[i].Unreadable = append(counts.Units[i].Unreadable, r.Registers)
			}
		}
	}
	return counts
}

// step does the next thing: it waits, asks, or listens for the answer.
func (p *Poller) step() error {
	open, back, err := p.line.link()
	if err != nil {
		return err
	}
	if back {
		p.comeBack()
	}
	if p.asking {
		p.await(open)
	} else {
		p.idle(open)
	}
	return nil
}

// comeBack begins anew after a loss of the line: whatever was found out about the
// units' registers is forgotten, and everything is due.
func (p *Poller) comeBack() {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := time.Now()
	for i, u := range schedule(&p.plan, p.how.registers, now) {
		p.units[i].blocks, p.units[i].rest, p.units[i].walk = u.blocks, time.Time{}, u.walk
		p.units[i].before = nil
	}
	p.ready, p.lost, p.mute = now, true, 0
}

// hand puts a frame into the outbox.
func (p *Poller) hand(at time.Time, direction transport.Direction, flags transport.Flags, data []byte) {
	if p.lost {
		flags, p.lost = flags|transport.Lost, false
	}
	p.outbox = append(p.outbox, transport.Frame{
		Time: at.UnixNano(), Medium: transport.Serial, Direction: direction, Flags: flags, Data: data[:len(data):len(data)],
	})
}

func (p *Poller) say(kind EventKind, unit byte, format string, a ...any) {
	p.events = append(p.events, Event{kind, p.place.endpoint.String(), unit, fmt.Sprintf(format, a...)})
}

// sayOnce says it the first time only.
func (p *Poller) sayOnce(kind EventKind, format string, a ...any) {
	if !p.reported[kind] {
		p.reported[kind] = true
		p.say(kind, 0, format, a...)
	}
}
