// Package transport says what a frame on a bus is, and names the places
// frames come from and go to.
//
// The packages below it each know one medium. They all hand over the same
// [Frame], so whoever reads frames need not know where they came from.
package transport

import "io"

// Medium is the kind of bus a frame was seen on.
type Medium uint8

// The media a frame can come from.
const (
	CAN    Medium = iota + 1 // a CAN frame: an id and up to 64 bytes
	Serial                   // bytes of a serial line, as the line's driver tore them
)

// String is the medium's name as it stands in messages.
func (m Medium) String() string {
	switch m {
	case CAN:
		return "can"
	case Serial:
		return "serial"
	}
	return "unknown medium"
}

// Direction tells whether this machine heard a frame or sent it.
type Direction uint8

// The directions of a frame, seen from the machine that wrote it down.
const (
	DirectionUnknown Direction = iota
	Received
	Sent
)

// Flags are a frame's yes-or-no properties.
type Flags uint8

// The flags of a frame.
const (
	Extended Flags = 1 << iota // CAN: the id has 29 bits, not 11
	Remote                     // CAN: a remote request, which carries no data
	BusError                   // CAN: not a frame but the controller's report of an error; ID holds the error classes
	FD                         // CAN: a CAN FD frame
	Damaged                    // the medium saw an error in these bytes (parity, framing, CRC)
	Lost                       // the medium lost data before this frame
)

// Frame is one unit of traffic: one CAN frame, or one run of serial bytes.
type Frame struct {
	Time      int64     // nanoseconds since the Unix epoch, UTC
	Channel   int       // which interface of the receiver heard it, from 0
	ID        uint32    // CAN: the identifier, without flag bits
	Medium    Medium    // the kind of bus
	Direction Direction // heard or sent
	Flags     Flags
	Data      []byte // the payload; it belongs to the receiver and holds until its next call
}

// Receiver hands over frames one after another.
type Receiver interface {
	// Receive fills f with the next frame, or returns an error. io.EOF says that
	// no frame will ever follow. f.Data holds until the next call.
	Receive(f *Frame) error
	io.Closer
}

// Sender puts frames on a bus.
type Sender interface {
	// Send puts f on the bus. It does not keep f.Data.
	Send(f *Frame) error
	io.Closer
}
