package canbus

import (
	"sync"
	"time"

	"golang.org/x/sys/unix"

	"packlink/transport"
)

// sendingSocket is a socket that can also send.
type sendingSocket struct {
	*socket
	sending sync.Mutex
	out     [fdSize]byte
}

// A full transmit queue is tried again after sendPause, and given up after
// sendPatience: long enough for 4,000 frames on the slowest usual bus.
const (
	sendPause    = 500 * time.Microsecond
	sendPatience = 5 * time.Second
)

// Send puts f on the bus, or waits up to 5 s for room in the transmit queue. An
// [*Error] says why it cannot. An interface that was removed is opened again by
// Receive only.
func (s *sendingSocket) Send(f *transport.Frame) error {
	if err := checkSendable(f); err != nil {
		return &Error{Endpoint: s.endpoint, Why: "not sent: " + err.Error()}
	}
	s.sending.Lock()
	defer s.sending.Unlock()
	size := encodeWire(&s.out, f)
	err := s.write(size)
	for begun := time.Now(); isFull(err) && time.Since(begun) < sendPatience; err = s.write(size) {
		time.Sleep(sendPause)
	}
	if err == nil || err == errClosed {
		return err
	}
	return s.notSent(err, f)
}

// write hands the frame in s.out to the kernel, without waiting.
func (s *sendingSocket) write(size int) error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	switch {
	case s.closed.Load():
		return errClosed
	case s.fd < 0:
		return unix.ENODEV
	}
	_, err := unix.Write(s.fd, s.out[:size])
	return err
}

// isFull tells whether an error says that there is no room at the moment.
func isFull(err error) bool {
	return err == unix.ENOBUFS || err == unix.EAGAIN || err == unix.EINTR
}

func (s *sendingSocket) notSent(err error, f *transport.Frame) error {
	e := transport.Endpoint{Scheme: "can", Address: s.name}
	switch {
	case err == unix.ENETDOWN:
		return isDown(e, nil)
	case isFull(err):
		return &Error{Endpoint: s.endpoint, Why: "the transmit queue stays full: is another node on the bus, at the same bit rate", Cause: err,
			Try: "ip -details link show " + s.name}
	case err == unix.EINVAL && f.Flags&transport.FD != 0:
		return &Error{Endpoint: s.endpoint, Why: "this interface carries no CAN FD", Cause: err, Try: "ip link set " + s.name + " mtu 72"}
	}
	return &Error{Endpoint: s.endpoint, Why: "not sent", Cause: err}
}
