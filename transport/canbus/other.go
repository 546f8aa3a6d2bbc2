//go:build !linux

package canbus

import (
	"runtime"

	"packlink/transport"
)

// Interfaces lists the CAN interfaces of this machine. Systems other than Linux
// have none.
func Interfaces() ([]Interface, error) { return nil, nil }

func listenSocket(e transport.Endpoint, _ func(Event)) (Listener, error) { return nil, noSockets(e) }

func openSocket(e transport.Endpoint, _ func(Event)) (Bus, error) { return nil, noSockets(e) }

func noSockets(e transport.Endpoint) error {
	return &Error{Endpoint: e.String(), Why: "can: needs Linux, and this is " + runtime.GOOS + "; use an adapter with slcan:"}
}
