package canbus

import (
	"encoding/binary"
	"fmt"

	"go.einride.tech/can"

	"packlink/transport"
)

// The layout of struct can_frame and struct canfd_frame, and the flag bits of
// their id (linux/can.h). The id is in the byte order of the machine.
const (
	classicSize = 16
	fdSize      = 72
	headSize    = 8
	lengthAt    = 4
	fdFlagsAt   = 5

	wireExtended = 0x80000000
	wireRemote   = 0x40000000
	wireError    = 0x20000000

	wireFDF = 0x04 // in the FD flags: this is a CAN FD frame

	classicData = can.MaxDataLength
	fdData      = 64
)

// decodeWire fills f, but for its time, channel and direction, from a frame as
// the kernel hands it over. It is false if b holds none. f.Data points into b.
func decodeWire(b []byte, f *transport.Frame) bool {
	limit := classicData
	flags := transport.Flags(0)
	switch len(b) {
	case classicSize:
	case fdSize:
		limit, flags = fdData, transport.FD
	default:
		return false
	}
	word, length := binary.NativeEndian.Uint32(b), int(b[lengthAt])
	if length > limit {
		return false
	}
	id := word & can.MaxExtendedID
	switch {
	case word&wireError != 0:
		flags |= transport.BusError
	case word&wireExtended != 0:
		flags |= transport.Extended
	default:
		id &= can.MaxID
	}
	if word&wireRemote != 0 {
		flags |= transport.Remote
		length = 0
	}
	f.ID, f.Medium, f.Flags = id, transport.CAN, flags
	f.Data = b[headSize : headSize+length : headSize+length]
	return true
}

// encodeWire writes f as the kernel wants it, and gives its size. f has passed
// checkSendable.
func encodeWire(b *[fdSize]byte, f *transport.Frame) (size int) {
	*b = [fdSize]byte{}
	word := f.ID
	if f.Flags&transport.Extended != 0 {
		word |= wireExtended
	}
	if f.Flags&transport.Remote != 0 {
		word |= wireRemote
	}
	binary.NativeEndian.PutUint32(b[:], word)
	b[lengthAt] = byte(len(f.Data))
	copy(b[headSize:], f.Data)
	if f.Flags&transport.FD == 0 {
		return classicSize
	}
	b[fdFlagsAt] = wireFDF
	return fdSize
}

// checkSendable says why no bus can carry f.
func checkSendable(f *transport.Frame) error {
	limit, most := uint32(can.MaxID), classicData
	if f.Flags&transport.Extended != 0 {
		limit = can.MaxExtendedID
	}
	if f.Flags&transport.FD != 0 {
		most = fdData
	}
	switch {
	case f.Medium != transport.CAN:
		return fmt.Errorf("a frame of the medium %s, expected can", f.Medium)
	case f.Flags&transport.BusError != 0:
		return fmt.Errorf("an error report, which is not a frame")
	case f.ID > limit:
		return fmt.Errorf("the CAN id %#x, expected at most %#x", f.ID, limit)
	case len(f.Data) > most:
		return fmt.Errorf("a CAN frame of %d bytes, expected at most %d", len(f.Data), most)
	case f.Flags&transport.FD != 0 && !isFDLength(len(f.Data)):
		return fmt.Errorf("a CAN FD frame of %d bytes, a length that none has", len(f.Data))
	case f.Flags&transport.Remote != 0 && (f.Flags&transport.FD != 0 || len(f.Data) > 0):
		return fmt.Errorf("a remote request with data or in CAN FD, which has none")
	}
	return nil
}

// isFDLength tells whether the data of a CAN FD frame can have this length
// (ISO 11898-1: 0 to 8, 12, 16, 20, 24, 32, 48, 64).
func isFDLength(n int) bool {
	return n <= 8 || n <= 24 && n%4 == 0 || n == 32 || n == 48 || n == 64
}
