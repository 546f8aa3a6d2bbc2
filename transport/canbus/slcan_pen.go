package canbus

import (
	"errors"
	"sync"
	"time"

	"go.bug.st/serial"
)

// pen writes to a serial port without ever blocking its caller for long. A
// write to a port blocks for as long as nobody reads, and closing the port does
// not end it; a write after the close could reach another file.
type pen struct {
	port    serial.Port
	lines   chan []byte
	results chan error

	mu     sync.Mutex
	line   []byte      // what is being written
	timer  *time.Timer // for the patience
	owed   bool        // a write has not ended yet
	closed bool
}

// writePatience is how long a line of some 30 bytes may take: at 9600 baud it
// takes 30 ms.
const writePatience = time.Second

var errStuck = errors.New("the adapter takes no more bytes")

func newPen(port serial.Port) *pen {
	p := &pen{port: port, lines: make(chan []byte), results: make(chan error, 1), timer: time.NewTimer(writePatience)}
	go p.run()
	return p
}

func (p *pen) run() {
	for line := range p.lines {
		n, err := p.port.Write(line)
		if err == nil && n < len(line) {
			err = errStuck
		}
		p.results <- err
	}
	close(p.results)
}

// write writes a line, or gives up: the line may then be written later.
func (p *pen) write(line []byte) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return errClosed
	}
	if p.owed && !p.settle(0) {
		return errStuck
	}
	p.line = append(p.line[:0], line...)
	p.lines <- p.line
	p.owed = true
	p.timer.Reset(writePatience)
	select {
	case err := <-p.results:
		p.owed = false
		return err
	case <-p.timer.C:
		return errStuck
	}
}

// settle waits so long for the write that has not ended yet. It is true if none
// is left.
func (p *pen) settle(limit time.Duration) bool {
	select {
	case <-p.results:
		p.owed = false
	case <-time.After(limit):
	}
	return !p.owed
}

// close ends the writing, and then closes the port. A write that nobody reads is
// thrown away first.
func (p *pen) close() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return nil
	}
	p.closed = true
	close(p.lines)
	for tries := 0; p.owed && tries < 10; tries++ {
		if p.port.ResetOutputBuffer() != nil || p.settle(10*time.Millisecond) {
			break
		}
	}
	return p.port.Close()
}
