// Package canbus hears and sends CAN frames: over SocketCAN, the CAN sockets of
// Linux, and over adapters that speak serial-line CAN.
//
// What [Listen] gives cannot send: it has no such method, and nothing of its
// code writes to a bus. An interface or adapter that goes away is opened again
// by its name when it is back; each transition is told once, as an [Event].
package canbus

import (
	"fmt"
	"os"

	"packlink/transport"
)

// Listener hears the frames of one CAN bus. Receive is for one goroutine at a
// time; Health and Close may be called beside it. Receive waits while the bus
// is away, and returns [os.ErrClosed] after Close.
//
// An error that the controller reports is a frame with [transport.BusError]:
// its ID holds the error classes and its Data 8 bytes of detail, as
// linux/can/error.h defines them. A frame with [transport.Lost] follows a loss.
type Listener interface {
	transport.Receiver
	// Health tells how the bus is doing.
	Health() Health
}

// Bus is a Listener that can also send. Send may be called beside Receive.
// Over SocketCAN the frames that it sent come back, as [transport.Sent]; serial-line
// adapters do not give them back.
type Bus interface {
	Listener
	transport.Sender
}

// Listen opens the bus at a "can:" or "slcan:" endpoint for hearing only.
// notify is called at each transition, from the goroutine that is in Receive;
// nil means that nobody wants to know. An [*Error] says what is wrong.
func Listen(e transport.Endpoint, notify func(Event)) (Listener, error) {
	switch e.Scheme {
	case "can":
		return listenSocket(e, quietly(notify))
	case "slcan":
		return listenAdapter(e, quietly(notify))
	}
	return nil, fmt.Errorf("endpoint %q: not a CAN bus, which begins with can: or slcan: instead", e)
}

// Open opens the bus at a "can:" or "slcan:" endpoint for hearing and sending.
// notify and the errors are those of [Listen]; Send calls notify too.
func Open(e transport.Endpoint, notify func(Event)) (Bus, error) {
	switch e.Scheme {
	case "can":
		return openSocket(e, quietly(notify))
	case "slcan":
		return openAdapter(e, quietly(notify))
	}
	return nil, fmt.Errorf("endpoint %q: not a CAN bus, which begins with can: or slcan: instead", e)
}

func quietly(notify func(Event)) func(Event) {
	if notify == nil {
		return func(Event) {}
	}
	return notify
}

// Error says why a bus cannot be used, and what may help.
type Error struct {
	Endpoint string // as the user wrote it
	Why      string // what is wrong, in words
	Try      string // a command that may help; empty if none is known
	Cause    error  // the error of the system; nil if there is none
}

// Error is one sentence, with a try: line where a command would help.
func (e *Error) Error() string {
	text := e.Endpoint + ": " + e.Why
	if e.Cause != nil {
		text += ": " + e.Cause.Error()
	}
	if e.Try != "" {
		text += "\ntry: " + e.Try
	}
	return text
}

// Unwrap gives the error of the system.
func (e *Error) Unwrap() error { return e.Cause }

// errClosed is what Receive and Send return after Close.
var errClosed = os.ErrClosed
