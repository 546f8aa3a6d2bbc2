package canbus

import (
	"errors"
	"sync"
	"time"

	"packlink/transport"
)

// adapter hears a bus through an adapter that speaks serial-line CAN. It has no
// method that sends a frame. Its channel is opened with L, in which the adapter cannot send nor acknowledge.
type adapter struct {
	ear
	settings
	away     backoff
	lines    splitter
	clock    adapterClock
	record   record
	refusing bool // the last answer was a refusal
	chunk    [4096]byte
	rest     []byte // what of chunk was not looked at yet
	readAt   int64  // when chunk was read, in nanoseconds since the Unix epoch

	mu   sync.Mutex
	port *connection // nil while there is none
	done chan struct{}
}

func listenAdapter(e transport.Endpoint, notify func(Event)) (Listener, error) {
	a, err := dialAdapter(e, false, notify)
	if err != nil {
		return nil, err
	}
	return a, nil
}

func openAdapter(e transport.Endpoint, notify func(Event)) (Bus, error) {
	a, err := dialAdapter(e, true, notify)
	if err != nil {
		return nil, err
	}
	return &sendingAdapter{adapter: a}, nil
}

func dialAdapter(e transport.Endpoint, sending bool, notify func(Event)) (*adapter, error) {
	s, err := readSettings(e, sending)
	if err != nil {
		return nil, err
	}
	a := &adapter{
		ear:      ear{monitor: monitor{endpoint: e.String(), notify: notify}},
		settings: s, done: make(chan struct{}),
	}
	a.health.Present, a.health.Up, a.health.BitRate = true, true, s.bitRate
	if err := a.connect(); err != nil {
		return nil, err
	}
	return a, nil
}

// connect opens the port and sets the adapter up. The error is of type *Error,
// or errClosed.
func (a *adapter) connect() error {
	c, err := a.openPort()
	if err != nil {
		return err
	}
	if !a.hold(c) {
		return errors.Join(errClosed, c.pen.close())
	}
	if err := a.setUp(c); err != nil {
		a.release()
		return &Error{Endpoint: a.endpoint, Why: "the adapter cannot be set up", Cause: err}
	}
	a.clock = adapterClock{}
	a.readAt = time.Now().UnixNano()
	return nil
}

// hold makes c the connection that Close ends. It is false after Close.
func (a *adapter) hold(c *connection) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.isClosed() {
		return false
	}
	a.port = c
	return true
}

func (a *adapter) isClosed() bool {
	select {
	case <-a.done:
		return true
	default:
		return false
	}
}

// release ends the connection, if there is one.
func (a *adapter) release() error {
	a.mu.Lock()
	c := a.port
	a.port = nil
	a.mu.Unlock()
	if c == nil {
		return nil
	}
	return c.pen.close()
}

// current is the connection; nil while there is none.
func (a *adapter) current() *connection {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.port
}

// Receive fills f with the next frame.
func (a *adapter) Receive(f *transport.Frame) error {
	for {
		for len(a.rest) > 0 {
			var ended bool
			a.record, ended = a.lines.push(a.rest[0])
			a.rest = a.rest[1:]
			if ended && a.take(f) {
				a.accept(f)
				return nil
			}
		}
		if err := a.fill(); err != nil {
			return err
		}
	}
}

// take fills f from the record, or notes what it says. It is true for a frame.
func (a *adapter) take(f *transport.Frame) bool {
	r := &a.record
	switch r.kind {
	case frameRecord, reportRecord:
		*f = transport.Frame{Time: a.readAt, ID: r.id, Medium: transport.CAN, Direction: transport.Received, Flags: r.flags, Data: r.data[:r.length:r.length]}
		if r.stamped {
			f.Time = a.clock.at(r.stamp, a.readAt)
		}
		return true
	case damagedRecord:
		a.lost = true
		a.change(func(h *Health) { h.Damaged++ })
	case refusedRecord:
		a.change(func(h *Health) { h.Refused++ })
		if !a.refusing {
			a.tell(Refused, nil)
		}
		a.refusing = true
	case doneRecord, sentRecord:
		a.refusing = false
	}
	return false
}

// fill waits until the adapter has said something, and looks after one that is
// away.
func (a *adapter) fill() error {
	for !a.isClosed() {
		c := a.current()
		if c == nil {
			a.comeBack()
			continue
		}
		n, err := readPort(c.port, a.chunk[:])
		if err == nil {
			a.rest, a.readAt = a.chunk[:n], time.Now().UnixNano()
			return nil
		}
		if !a.isClosed() {
			a.lose(err)
		}
	}
	return errClosed
}

// lose gives up a connection that broke.
func (a *adapter) lose(why error) {
	a.release()
	a.lines, a.lost = splitter{}, true
	a.away.begin()
	a.link(false, false, why)
}

// comeBack waits out the back-off and tries to connect again, by the same path.
func (a *adapter) comeBack() {
	select {
	case <-a.done:
		return
	case <-time.After(a.away.wait):
	}
	a.away.again()
	if a.connect() == nil {
		a.away.end()
		a.link(true, true, nil)
	}
}

// Health tells how the adapter and its bus are doing.
func (a *adapter) Health() Health { return a.get() }

// Close closes the adapter's channel and ends a Receive that waits.
func (a *adapter) Close() error {
	a.mu.Lock()
	if a.isClosed() {
		a.mu.Unlock()
		return nil
	}
	close(a.done)
	c := a.port
	a.mu.Unlock()
	if c != nil {
		c.pen.write([]byte("C\r")) // a courtesy: an adapter that is gone cannot take it
	}
	return a.release()
}
