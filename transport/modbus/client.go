package modbus

import (
	"errors"
	"io"
	"net"
	"os"
	"runtime"
	"sync/atomic"
	"time"
)

// client is one connection. Its buffers hold one message each.
type client struct {
	wire     net.Conn // the connection itself
	conn     net.Conn // what its messages go through: wire, or the encryption on it
	reader   *Reader  // nil: the client may read nothing
	accepted time.Time
	in, out  [maxADU]byte
	filled   int  // the bytes in in that are not answered yet
	halfway  bool // readBy is the end of the time for the half request in in

	readBy, writeBy time.Time // the deadlines of conn

	lastRequest atomic.Int64 // nanoseconds after accepted, at least 1; 0: none yet
	dismissed   atomic.Bool  // the server closed it while it was in order
}

// silentLongerThan orders clients by who gives way first.
func (c *client) silentLongerThan(other *client) bool {
	mine, others := c.lastRequest.Load(), other.lastRequest.Load()
	if (mine == 0) != (others == 0) {
		return mine == 0
	}
	return c.accepted.Add(time.Duration(mine)).Before(other.accepted.Add(time.Duration(others)))
}

// dismiss closes the connection of a client that did nothing wrong. It does not
// wait, as a farewell of the encryption might.
func (c *client) dismiss() {
	c.dismissed.Store(true)
	c.wire.Close()
}

// converse answers a client until its connection is to be closed.
func (s *Server) converse(c *client) DropReason {
	if s.security != nil {
		if fault := s.security.admit(c); fault != notDropped {
			return fault
		}
		defer c.conn.Close()
	}
	for {
		c.limitReading(time.Now())
		runtime.Gosched() // under load the next request is there after the other clients' turn
		n, err := c.conn.Read(c.in[c.filled:])
		c.filled += n
		if fault := s.answerWhole(c); fault != notDropped {
			return fault
		}
		if err != nil {
			return c.endOfReading(err)
		}
	}
}

// limitReading gives the client time for the next request, or for the rest of
// the one it has begun: bytes that trickle in do not prolong it.
func (c *client) limitReading(now time.Time) {
	switch {
	case c.filled == 0:
		c.halfway = false
		if c.readBy.Sub(now) < IdleTimeout {
			c.readBy = now.Add(IdleTimeout + lenience)
			c.conn.SetReadDeadline(c.readBy)
		}
	case !c.halfway:
		c.halfway = true
		c.readBy = now.Add(FrameTimeout)
		c.conn.SetReadDeadline(c.readBy)
	}
}

// limitWriting gives the client time to accept a response.
func (c *client) limitWriting(now time.Time) {
	if c.writeBy.Sub(now) < WriteTimeout {
		c.writeBy = now.Add(WriteTimeout + lenience)
		c.conn.SetWriteDeadline(c.writeBy)
	}
}

// answerWhole answers each whole request in the buffer, and keeps the rest.
func (s *Server) answerWhole(c *client) DropReason {
	used := 0
	for {
		size, fault := nextADU(c.in[used:c.filled])
		if fault != notDropped {
			return fault
		}
		if size == 0 {
			break
		}
		if fault := s.answerOne(c, c.in[used:used+size]); fault != notDropped {
			return fault
		}
		used += size
		c.halfway = false
	}
	c.filled = copy(c.in[:], c.in[used:c.filled])
	return notDropped
}

// answerOne answers one request.
func (s *Server) answerOne(c *client, message []byte) DropReason {
	now := time.Now()
	c.lastRequest.Store(max(1, int64(now.Sub(c.accepted))))
	c.limitWriting(now)
	_, err := c.conn.Write(s.respond(c.reader, message, c.out[:]))
	switch {
	case err == nil:
		return notDropped
	case errors.Is(err, os.ErrDeadlineExceeded):
		return Unread
	}
	return Broken
}

// endOfReading is the reason why nothing more can be read.
func (c *client) endOfReading(err error) DropReason {
	switch {
	case errors.Is(err, io.EOF):
		return notDropped
	case !errors.Is(err, os.ErrDeadlineExceeded):
		return Broken
	case c.filled > 0:
		return HalfFrame
	}
	return Idle
}
