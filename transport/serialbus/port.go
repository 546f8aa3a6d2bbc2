package serialbus

import (
	"bytes"
	"errors"
	"os"
	"sync"
	"time"

	"go.bug.st/serial"

	"packlink/transport"
)

// closeGrace is how long closing waits for a write to return.
const closeGrace = time.Second

// port is a serial port. It keeps away from three traps of the library: a read
// panics if the process has a thousand files open, a write has no time-out and
// is not freed by closing, and a write after closing can reach another file.
type port struct {
	serial  serial.Port
	held    claim
	wait    time.Duration // the read time-out that is set
	turn    chan struct{} // holds a token while a write is under way
	closing chan struct{}
	once    sync.Once
	closed  error
}

func openPort(e transport.Endpoint, mode *serial.Mode) (link, error) {
	held, err := newClaim(e.Address)
	if err != nil {
		return nil, openFault(e, err)
	}
	opened, err := serial.Open(e.Address, mode)
	if err != nil {
		held.release()
		return nil, openFault(e, err)
	}
	held.neverWait()
	if !readable(opened) {
		opened.Close()
		held.release()
		return nil, &Error{
			Endpoint: e.String(), Kind: KindDescriptors, Try: "ulimit -n 1024",
			Detail: "the process has more than a thousand files open, and a serial port must be among the first 1024",
		}
	}
	return &port{serial: opened, held: held, turn: make(chan struct{}, 1), closing: make(chan struct{})}, nil
}

// readable tries a read of no bytes, which takes none away, as the library
// panics in each read if the port's descriptor is 1024 or higher. Any error will
// come again at the first true read.
func readable(opened serial.Port) (can bool) {
	defer func() { can = recover() == nil }()
	if opened.SetReadTimeout(0) == nil {
		opened.Read(nil)
	}
	return true
}

func (p *port) read(buffer []byte, until time.Time) (int, error) {
	for {
		wait := serial.NoTimeout
		if !until.IsZero() {
			wait = max(time.Until(until), 0)
		}
		if wait != p.wait {
			if err := p.serial.SetReadTimeout(wait); err != nil {
				return 0, err
			}
			p.wait = wait
		}
		n, err := p.serial.Read(buffer)
		if n > 0 {
			return n, nil
		}
		if err != nil || !until.IsZero() {
			return 0, p.explain(err)
		}
	}
}

// explain gives the library's word for a hang-up its meaning.
func (p *port) explain(err error) error {
	if hasCode(err, serial.PortClosed) {
		return errUnplugged
	}
	return err
}

func (p *port) write(data []byte, limit time.Duration) error {
	select {
	case p.turn <- struct{}{}:
	default:
		return errStuck
	}
	done := make(chan error, 1)
	go func(data []byte) {
		err := p.writeAll(data)
		<-p.turn
		done <- err
	}(bytes.Clone(data))
	timer := time.NewTimer(limit)
	defer timer.Stop()
	select {
	case err := <-done:
		return err
	case <-p.closing:
		return os.ErrClosed
	case <-timer.C:
		return errStuck
	}
}

// writeAll writes as long as the port is not being closed. It holds the turn, so
// that the port stays open during the system call.
func (p *port) writeAll(data []byte) error {
	for len(data) > 0 {
		select {
		case <-p.closing:
			return os.ErrClosed
		default:
		}
		n, err := p.serial.Write(data)
		if err != nil {
			return p.explain(err)
		}
		if n == 0 {
			return errStuck
		}
		data = data[n:]
	}
	return nil
}

// close waits a moment for a write that is under way. One that takes longer hangs in
// the system, where it holds the file itself and not the number of a file.
func (p *port) close() error {
	p.once.Do(func() {
		close(p.closing)
		timer := time.NewTimer(closeGrace)
		defer timer.Stop()
		select {
		case p.turn <- struct{}{}:
		case <-timer.C:
		}
		p.closed = p.serial.Close()
		p.held.release()
	})
	if errors.Is(p.closed, os.ErrClosed) {
		return nil
	}
	return p.closed
}
