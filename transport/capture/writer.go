package capture

import (
	"bufio"
	"fmt"
	"io"
	"os"

	"packlink/transport"
)

// MaxSerialData is the longest run of serial bytes that a [Writer] takes: with
// it a block is just as long as a [Reader] takes.
const MaxSerialData = MaxBlock - serialHeader - packetLength - packetOptions

// Bus is an interface to write: what it is called, and what its frames are.
type Bus struct {
	Name   string // at most MaxName bytes; empty if it has none
	Medium transport.Medium
}

// Writer writes frames as one pcapng section: version 1.0, little-endian, time
// stamps in nanoseconds. It is not for use by several goroutines at once.
type Writer struct {
	out     *bufio.Writer
	buses   []Bus
	scratch []byte // what stands before and behind a frame's data
	closed  bool
}

var _ transport.Sender = (*Writer)(nil)

// NewWriter begins a capture on w. A frame's channel is the index of its bus.
// It refuses no bus, more than [MaxInterfaces], a medium it does not know, and
// a name that is too long. Nothing reaches w before 64 KiB are written or Flush
// is called.
func NewWriter(w io.Writer, buses ...Bus) (*Writer, error) {
	if len(buses) == 0 || len(buses) > MaxInterfaces {
		return nil, fmt.Errorf("a capture of %d buses cannot be written, expected 1 to %d", len(buses), MaxInterfaces)
	}
	head := appendSectionHeader(nil)
	for _, bus := range buses {
		if bus.Medium != transport.CAN && bus.Medium != transport.Serial {
			return nil, fmt.Errorf("the bus %q cannot be written: %v (%d), expected can or serial", bus.Name, bus.Medium, bus.Medium)
		}
		if len(bus.Name) > MaxName {
			return nil, fmt.Errorf("a bus cannot be written: its name has %d bytes, expected at most %d", len(bus.Name), MaxName)
		}
		head = appendInterface(head, bus)
	}
	out := bufio.NewWriterSize(w, 64<<10)
	if _, err := out.Write(head); err != nil {
		return nil, err
	}
	return &Writer{out: out, buses: append([]Bus(nil), buses...), scratch: make([]byte, 0, 256)}, nil
}

// Send writes a frame. It refuses one that the capture could not give back: of
// an unknown channel or another medium, before 1970, with an id or data that
// are too long, or a serial frame after 2106, which the link type's header
// cannot say. A refused frame leaves no trace; every other error is that of the
// underlying writer and ends the capture.
func (w *Writer) Send(f *transport.Frame) error {
	if w.closed {
		return fmt.Errorf("the capture is closed, a frame cannot be written: %w", os.ErrClosed)
	}
	if reason := w.refusal(f); reason != "" {
		return fmt.Errorf("a frame of channel %d cannot be written: %s", f.Channel, reason)
	}
	if f.Medium == transport.CAN {
		return w.sendCAN(f)
	}
	return w.sendSerial(f)
}

func (w *Writer) sendCAN(f *transport.Frame) error {
	length := canPacketLength(f)
	b := appendPacketHead(w.scratch[:0], f, length)
	b = appendCAN(b, f)
	_, err := w.out.Write(appendPacketTail(b, f, length))
	return err
}

func (w *Writer) sendSerial(f *transport.Frame) error {
	length := serialHeader + len(f.Data)
	b := appendPacketHead(w.scratch[:0], f, length)
	if _, err := w.out.Write(appendSerialHeader(b, f)); err != nil {
		return err
	}
	if _, err := w.out.Write(f.Data); err != nil {
		return err
	}
	_, err := w.out.Write(appendPacketTail(w.scratch[:0], f, length))
	return err
}

// Flush hands what was written so far to the underlying writer.
func (w *Writer) Flush() error { return w.out.Flush() }

// Close ends the capture and flushes it. The underlying writer stays open.
func (w *Writer) Close() error {
	w.closed = true
	return w.out.Flush()
}
