package serialbus

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"packlink/transport"
)

// sendSlack is how much longer than on the wire itself the sending of a frame
// may take.
const sendSlack = 2 * time.Second

// Transmitter puts bytes on a line.
type Transmitter struct {
	place *place
	link  link
	stop  func() bool
	mu    sync.Mutex
	fault error // why nothing can be sent any more
}

// OpenForSending opens a line to transmit on it: serial:/dev/ttyUSB0?baud=9600 or
// tcp:192.0.2.7:4001. What arrives is not looked at. A line that is lost is not
// opened again. The end of ctx closes the transmitter. The error is an [*Error].
func OpenForSending(ctx context.Context, e transport.Endpoint) (*Transmitter, error) {
	p, err := readPlace(e, false)
	if err != nil {
		return nil, err
	}
	open, err := p.open(ctx)
	if err != nil {
		return nil, err
	}
	t := &Transmitter{place: p, link: open}
	if conn, is := open.(*socket); is {
		conn.drain()
	}
	t.stop = context.AfterFunc(ctx, func() { open.close() })
	return t, nil
}

// Send hands the bytes of f to the line; it does not wait until they have left.
// Whatever else f holds is not looked at, but for its medium, which must be Serial.
// If the line does not take the bytes within their time on the wire and two
// seconds, Send gives up with an [*Error] of KindStuck, as after every other
// error: the line is closed then, as nobody knows how much of the frame has left.
func (t *Transmitter) Send(f *transport.Frame) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if f.Medium != transport.Serial {
		return fmt.Errorf("%s: a frame of medium %s cannot be sent on a serial line", t.place.endpoint, f.Medium)
	}
	if t.fault != nil {
		return t.fault
	}
	err := t.link.write(f.Data, t.place.transmission(len(f.Data))+sendSlack)
	if err == nil {
		return nil
	}
	t.link.close()
	kind := KindOther
	if errors.Is(err, errStuck) {
		kind = KindStuck
	}
	t.fault = &Error{Endpoint: t.place.endpoint.String(), Kind: kind, Detail: "cannot send", Cause: err}
	return t.fault
}

// Close closes the line. It ends a Send that waits.
func (t *Transmitter) Close() error {
	t.stop()
	return t.link.close()
}
