package canbus

import (
	"errors"
	"sync"
	"sync/atomic"

	"golang.org/x/sys/unix"

	"packlink/transport"
)

// socket hears one SocketCAN interface. It has no method that sends.
type socket struct {
	ear
	name    string // of the interface
	echo    bool   // to hear what this socket sends
	wake    int    // an eventfd that Close makes readable for good
	closed  atomic.Bool
	away    backoff
	pace    pace
	batch   *batch
	dropped atomic.Uint32 // the kernel's count of frames lost in this descriptor, as last heard

	mu    sync.RWMutex // held for reading while fd is in use, for writing while it changes
	fd    int          // -1 while there is none
	index int          // of the interface that fd is bound to
}

// newSocket makes a socket that has no descriptor yet.
func newSocket(e transport.Endpoint, notify func(Event)) (*socket, error) {
	wake, err := unix.Eventfd(0, unix.EFD_CLOEXEC|unix.EFD_NONBLOCK)
	if err != nil {
		return nil, &Error{Endpoint: e.String(), Why: "no event descriptor", Cause: err}
	}
	return &socket{
		ear:  ear{monitor: monitor{endpoint: e.String(), notify: notify}},
		name: e.Address, wake: wake, fd: -1, batch: newBatch(),
	}, nil
}

// Receive fills f with the next frame.
func (s *socket) Receive(f *transport.Frame) error {
	for {
		for s.batch.next < s.batch.count {
			said, ok := s.batch.take(f)
			s.noteDrops(said)
			if ok {
				s.accept(f)
				return nil
			}
		}
		if err := s.fill(); err != nil {
			return err
		}
	}
}

// noteDrops takes in the kernel's count of lost frames.
func (s *socket) noteDrops(said note) {
	if !said.counted || said.dropped == s.dropped.Load() {
		return
	}
	more := said.dropped - s.dropped.Swap(said.dropped)
	s.lost = true
	s.change(func(h *Health) { h.Dropped += uint64(more) })
}

// fill waits until the batch holds frames.
func (s *socket) fill() error {
	for !s.closed.Load() {
		if err := s.attempt(); err != nil {
			s.broken(err)
		}
		if s.batch.count > 0 {
			return nil
		}
	}
	return errClosed
}

// attempt waits once, and fetches what there is. While the bus is away it asks
// to be looked after when the back-off is over.
func (s *socket) attempt() error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	if s.closed.Load() {
		return errClosed
	}
	limit := forever
	if s.away.wait > 0 {
		limit = s.away.wait
	}
	fds := [...]unix.PollFd{{Fd: int32(s.wake), Events: unix.POLLIN}, {Fd: int32(s.fd), Events: unix.POLLIN}}
	if full := s.batch.clear(); !full {
		if err := s.pace.rest(limit, fds[:]); err != nil {
			return err
		}
	}
	if s.closed.Load() {
		return errClosed
	}
	if s.fd < 0 {
		return errAway
	}
	err := s.batch.fetch(s.fd)
	s.pace.fetched(s.batch.count, s.batch.newest())
	if err == unix.EAGAIN && limit != forever {
		return errAway
	}
	return err
}

// errAway says that the bus was away and that it is time to look after it.
var errAway = errors.New("the interface is away")

// broken deals with what ended an attempt: nothing to fetch, a bus that went
// away, or one that is to be looked after.
func (s *socket) broken(why error) {
	switch why {
	case errClosed, unix.EAGAIN, unix.EINTR:
	case errAway:
		s.lookAfter()
	case unix.ENETDOWN:
		s.away.begin()
		s.link(true, false, why)
	default:
		s.drop(why)
	}
}

// drop gives up the descriptor, whose interface is no longer there.
func (s *socket) drop(why error) {
	s.mu.Lock()
	if s.fd >= 0 {
		unix.Close(s.fd)
	}
	s.fd, s.index = -1, 0
	s.mu.Unlock()
	s.away.begin()
	s.link(false, false, why)
}

// lookAfter finds out whether the bus is back, under its name.
func (s *socket) lookAfter() {
	s.away.again()
	i, err := findInterface(s.name)
	if err == nil && i.Index != s.index {
		err = s.reopen(i.Index)
	}
	if err != nil {
		s.drop(err)
		return
	}
	s.found(i)
}

// found notes how the interface is doing, and goes back to work if it is up.
func (s *socket) found(i Interface) {
	if i.Up {
		s.away.end()
	} else {
		s.away.begin()
	}
	s.link(true, i.Up, unix.ENETDOWN)
	s.change(func(h *Health) {
		h.State, h.BitRate = i.State, i.BitRate
		h.Counted, h.TxErrors, h.RxErrors = i.Counted, i.TxErrors, i.RxErrors
	})
}

// reopen binds a new descriptor to the interface. Frames may have been missed.
func (s *socket) reopen(index int) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed.Load() {
		return errClosed
	}
	fd, err := openRaw(index, s.echo)
	if err != nil {
		return err
	}
	if s.fd >= 0 {
		unix.Close(s.fd)
	}
	s.fd, s.index = fd, index
	s.dropped.Store(0)
	s.lost = true
	return nil
}

// Health tells how the interface is doing.
func (s *socket) Health() Health {
	h := s.get()
	s.mu.RLock()
	defer s.mu.RUnlock()
	if s.fd >= 0 && !s.closed.Load() {
		h.Dropped += uint64(dropsOf(s.fd, s.dropped.Load()))
	}
	return h
}

// Close ends a Receive that waits.
func (s *socket) Close() error {
	if s.closed.Swap(true) {
		return nil
	}
	_, err := unix.Write(s.wake, []byte{1, 0, 0, 0, 0, 0, 0, 0})
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fd >= 0 {
		err = errors.Join(err, unix.Close(s.fd))
	}
	s.fd = -1
	return errors.Join(err, unix.Close(s.wake))
}
