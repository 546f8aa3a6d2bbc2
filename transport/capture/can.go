package capture

import (
	"encoding/binary"
	"fmt"

	"packlink/transport"
)

// The layout of link type 227, LINKTYPE_CAN_SOCKETCAN: the id and its flag bits
// big-endian, the payload's length, the FD flags, a reserved byte, the raw DLC,
// and the payload (draft-ietf-opsawg-pcaplinktype; linux/can.h).
const (
	canHeader    = 8
	canPayload   = 8
	canFDPayload = 64
	canFDPacket  = canHeader + canFDPayload

	canExtended   = 0x80000000
	canRemote     = 0x40000000
	canError      = 0x20000000
	canStandardID = 0x7FF
	canExtendedID = 0x1FFFFFFF

	canFDF = 0x04 // in the FD flags: this is a CAN FD frame
)

// canFDRemote is what no frame is: a remote request in CAN FD.
const canFDRemote = transport.FD | transport.Remote

// parseCAN fills f, but for its time and channel, from a packet of link type
// 227. A packet as long as an FD frame is one, also without its flag, which older
// recorders did not set. The fault is empty for a good packet; f is untouched by
// a bad one.
func parseCAN(p []byte, f *transport.Frame) (fault string) {
	if len(p) < canHeader {
		return fmt.Sprintf("a CAN packet of %d bytes, expected at least %d", len(p), canHeader)
	}
	head := (*[canHeader]byte)(p)
	word, length := binary.BigEndian.Uint32(head[:]), int(head[4])
	id, flags := word&canExtendedID, canFlags(word)
	if head[5]&canFDF != 0 || len(p) == canFDPacket || length > canPayload {
		flags |= transport.FD
	}
	if !isCANFrame(id, flags, length) {
		return canFault(id, flags, length)
	}
	if flags&transport.Remote != 0 {
		length = 0
	}
	if length > len(p)-canHeader {
		return fmt.Sprintf("a CAN frame of %d bytes of which %d were recorded", length, len(p)-canHeader)
	}
	f.ID, f.Medium, f.Direction, f.Flags = id, transport.CAN, transport.DirectionUnknown, flags
	f.Data = p[canHeader : canHeader+length : canHeader+length]
	return ""
}

func canFlags(word uint32) (flags transport.Flags) {
	if word&(canExtended|canRemote|canError) == 0 {
		return 0
	}
	if word&canExtended != 0 {
		flags |= transport.Extended
	}
	if word&canRemote != 0 {
		flags |= transport.Remote
	}
	if word&canError != 0 {
		flags |= transport.BusError
	}
	return flags
}

// canLimit is how many bytes a frame can have.
func canLimit(flags transport.Flags) int {
	if flags&transport.FD != 0 {
		return canFDPayload
	}
	return canPayload
}

// isCANFrame tells whether a CAN frame can be like this.
func isCANFrame(id uint32, flags transport.Flags, length int) bool {
	limit := uint32(canStandardID)
	if flags&(transport.Extended|transport.BusError) != 0 {
		limit = canExtendedID
	}
	return id <= limit && length <= canLimit(flags) && flags&canFDRemote != canFDRemote
}

// canFault says what is wrong with an id, flags and length that no CAN frame has.
func canFault(id uint32, flags transport.Flags, length int) string {
	switch limit := canLimit(flags); {
	case length > limit:
		return fmt.Sprintf("a CAN frame of %d bytes, expected at most %d", length, limit)
	case flags&canFDRemote == canFDRemote:
		return "a remote request in CAN FD, which has none"
	}
	return fmt.Sprintf("the CAN id %#x is too large for its kind", id)
}

// appendCAN appends the packet of a frame that isCANFrame passes. One of CAN
// FD has the full length, so that a reader that knows it by its length does.
func appendCAN(b []byte, f *transport.Frame) []byte {
	word := f.ID
	if f.Flags&transport.Extended != 0 {
		word |= canExtended
	}
	if f.Flags&transport.Remote != 0 {
		word |= canRemote
	}
	if f.Flags&transport.BusError != 0 {
		word |= canError
	}
	b = binary.BigEndian.AppendUint32(b, word)
	if f.Flags&transport.FD == 0 {
		b = append(b, byte(len(f.Data)), 0, 0, 0)
		return append(b, f.Data...)
	}
	b = append(b, byte(len(f.Data)), canFDF, 0, 0)
	b = append(b, f.Data...)
	return append(b, zeros[:canFDPayload-len(f.Data)]...)
}
