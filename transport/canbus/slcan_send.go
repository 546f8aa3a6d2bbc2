package canbus

import (
	"errors"
	"sync"

	"packlink/transport"
)

// sendingAdapter is an adapter that can also send.
type sendingAdapter struct {
	*adapter
	sending sync.Mutex
	out     []byte
}

var errNoAdapter = errors.New("the adapter is away")

// Send hands f to the adapter. Whether it reached the bus is seen in the health:
// the adapter answers later. An [*Error] says why it cannot be sent.
func (a *sendingAdapter) Send(f *transport.Frame) error {
	err := checkSendable(f)
	if err == nil && f.Flags&transport.FD != 0 {
		err = errors.New("a CAN FD frame, which serial-line CAN does not carry")
	}
	if err == nil {
		err = a.hand(f)
	}
	if err == nil || errors.Is(err, errClosed) {
		return err
	}
	return &Error{Endpoint: a.endpoint, Why: "not sent", Cause: err}
}

func (a *sendingAdapter) hand(f *transport.Frame) error {
	if a.isClosed() {
		return errClosed
	}
	c := a.current()
	if c == nil {
		return errNoAdapter
	}
	a.sending.Lock()
	defer a.sending.Unlock()
	a.out = appendLine(a.out[:0], f)
	return c.pen.write(a.out)
}
