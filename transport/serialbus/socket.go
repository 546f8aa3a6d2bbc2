package serialbus

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"net"
	"os"
	"time"

	"packlink/transport"
)

// dialTimeout is how long a connection may take.
const dialTimeout = 5 * time.Second

// keepAlive notices within 35 s that a host is gone of which nothing was heard.
var keepAlive = net.KeepAliveConfig{Enable: true, Idle: 15 * time.Second, Interval: 5 * time.Second, Count: 4}

// socket is a connection. Its read time-outs are never in the past, as the
// network library then gives no bytes even if there are some.
type socket struct {
	conn    net.Conn
	drained chan struct{} // closed when the other side has closed; nil if somebody reads
}

// dial connects, with encryption if there are settings for it.
func dial(ctx context.Context, e transport.Endpoint, encryption *tls.Config) (*socket, error) {
	ctx, cancel := context.WithTimeout(ctx, dialTimeout)
	defer cancel()
	dialer := net.Dialer{KeepAliveConfig: keepAlive}
	conn, err := dialer.DialContext(ctx, "tcp", e.Address)
	if err != nil {
		return nil, dialFault(e, err)
	}
	if encryption == nil {
		return &socket{conn: conn}, nil
	}
	secure := tls.Client(conn, encryption)
	if err := secure.HandshakeContext(ctx); err != nil {
		conn.Close()
		return nil, &Error{Endpoint: e.String(), Kind: KindCertificate, Detail: "no encrypted connection", Cause: err}
	}
	return &socket{conn: secure}, nil
}

func (s *socket) read(buffer []byte, until time.Time) (int, error) {
	if soon := time.Now().Add(time.Millisecond); !until.IsZero() && until.Before(soon) {
		until = soon
	}
	if err := s.conn.SetReadDeadline(until); err != nil {
		return 0, err
	}
	n, err := s.conn.Read(buffer)
	switch {
	case n > 0, errors.Is(err, os.ErrDeadlineExceeded):
		return n, nil
	case errors.Is(err, io.EOF):
		return 0, errHungUp
	}
	return 0, err
}

func (s *socket) write(data []byte, limit time.Duration) error {
	if err := s.conn.SetWriteDeadline(time.Now().Add(limit)); err != nil {
		return err
	}
	_, err := s.conn.Write(data)
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return errStuck
	}
	return err
}

// drain throws away what arrives, for a link that is only written to.
func (s *socket) drain() {
	s.drained = make(chan struct{})
	go func() {
		defer close(s.drained)
		io.Copy(io.Discard, s.conn)
	}()
}

// close closes the connection. One that is drained is first closed for writing, and
// the other side gets a moment to do the same: with bytes unread, the system would
// break the connection off, and what was sent last might be lost.
func (s *socket) close() error {
	half, can := s.conn.(interface{ CloseWrite() error })
	if s.drained != nil && can && half.CloseWrite() == nil {
		s.conn.SetReadDeadline(time.Now().Add(closeGrace))
		<-s.drained
	}
	return s.conn.Close()
}
