package modbus

import (
	"context"
	"errors"
	"fmt"
	"net"
	"time"
)

// The limits of a server.
const (
	// MaxConnections is the most connections that one Serve holds. One more makes
	// the longest silent give way: see [Server.Serve].
	MaxConnections = 1024

	// IdleTimeout is how long a client may be silent between two requests, and up to
	// half a second more.
	IdleTimeout = time.Hour

	// FrameTimeout is how long a request may take from its first byte to its last.
	FrameTimeout = 3 * time.Second

	// WriteTimeout is how long a client may take to accept one response, and up to half
	// a second more.
	WriteTimeout = 5 * time.Second
)

// lenience is how far beyond its time a deadline is set, so that it need not be moved at
// every request.
const lenience = 500 * time.Millisecond

// acceptPause is the wait after the system could not hand over a connection.
const acceptPause = 100 * time.Millisecond

// Server answers Modbus/TCP for units.
type Server struct {
	units    *Units
	first    byte
	security *Security // nil: in the clear
	tally    tally
}

// NewServer makes a server for units. Requests to unit id 0 or 255, by which a
// client means the TCP device itself, go to the unit first (common practice, not
// a rule of the protocol). A first outside 1 to 247 is refused. With security every
// client must be encrypted and known; nil serves everybody, in the clear.
func NewServer(units *Units, first byte, security *Security) (*Server, error) {
	if first < firstUnit || first > lastUnit {
		return nil, fmt.Errorf("modbus/tcp server: %d cannot be its first unit: a unit has an id from %d to %d", first, firstUnit, lastUnit)
	}
	return &Server{units: units, first: first, security: security}, nil
}

// Serve answers the clients of listener until ctx ends, and then returns nil.
// It returns an error if somebody else closes the listener. Either way the
// listener and every connection are closed, and no goroutine is left.
//
// Each client has a goroutine and 520 bytes of buffers of its own, so none can
// delay another. When [MaxConnections] are open and one more comes, the one
// that never made a request gives way, else the one whose last request is
// longest ago: so neither dead nor silent clients can lock the others out.
func (s *Server) Serve(ctx context.Context, listener net.Listener) error {
	stop := context.AfterFunc(ctx, func() { listener.Close() })
	defer stop()
	defer listener.Close()
	crowd := newCrowd()
	defer crowd.disperse()
	for {
		conn, err := listener.Accept()
		switch {
		case ctx.Err() != nil:
			if err == nil {
				conn.Close()
			}
			return nil
		case err == nil:
			s.welcome(conn, crowd)
		case errors.Is(err, net.ErrClosed):
			return fmt.Errorf("modbus/tcp server on %s: the listener was closed: %w", listener.Addr(), err)
		default:
			s.tally.acceptFailures.Add(1)
			pause(ctx, acceptPause)
		}
	}
}

// pause waits, but no longer than ctx lasts.
func pause(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}

// welcome starts to answer one client.
func (s *Server) welcome(conn net.Conn, crowd *crowd) {
	c := &client{wire: conn, conn: conn, reader: s.units.NewReader(), accepted: time.Now()}
	s.tally.accepted.Add(1)
	s.tally.open.Add(1)
	if crowd.admit(c) {
		s.tally.drop(Crowded)
	}
	crowd.running.Go(func() {
		reason := s.converse(c)
		crowd.leave(c)
		if !c.dismissed.Load() {
			s.tally.drop(reason)
		}
		s.tally.open.Add(-1)
	})
}
