package serialbus

import (
	"context"
	"time"

	"packlink/transport"
)

// runLength is the most bytes of one frame that a [Listener] hands over.
const runLength = 4096

// Listener hears what goes by on a line. It cannot transmit.
type Listener struct {
	line   *line
	lost   bool // bytes may be missing before the next frame
	buffer [runLength]byte
}

// Listen opens a line to hear what goes by, and nothing else: not one byte
// leaves, whatever arrives. The endpoint is serial:/dev/ttyUSB0?baud=9600&frame=8N1
// or a serial device server, tcp:192.0.2.7:4001.
//
// A line that is lost later is opened again by the same name, after 100 ms to 5 s;
// report, which may be nil, hears of the loss and of the return, in the goroutine
// that receives. The end of ctx closes the listener. The error is an [*Error].
func Listen(ctx context.Context, e transport.Endpoint, report func(Event)) (*Listener, error) {
	p, err := readPlace(e, false)
	if err != nil {
		return nil, err
	}
	l, err := openLine(ctx, e.String(), p.open, report)
	if err != nil {
		return nil, err
	}
	return &Listener{line: l}, nil
}

// Receive fills f with the next run of bytes, 1 to 4096 of them, as the driver
// gave them: a run can begin and end anywhere in a message. Its time is that of
// arrival. The first run after a loss of the line has the flag Lost. Receive
// blocks, also while the line is lost, and returns io.EOF once the listener is
// closed; there is no other error.
func (l *Listener) Receive(f *transport.Frame) error {
	for {
		open, _, err := l.line.link()
		if err != nil {
			return err
		}
		n, err := open.read(l.buffer[:], time.Time{})
		if err != nil {
			l.line.lost(err)
			l.lost = true
			continue
		}
		*f = transport.Frame{Time: time.Now().UnixNano(), Medium: transport.Serial, Direction: transport.Received, Data: l.buffer[:n:n]}
		if l.lost {
			f.Flags, l.lost = transport.Lost, false
		}
		return nil
	}
}

// Close ends a Receive at once and closes the line.
func (l *Listener) Close() error { return l.line.close() }
