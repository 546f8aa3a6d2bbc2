package mapping

import (
	"math"
	"slices"

	"packlink/mapping/document"
)

// A 29-bit id by SAE J1939-21 (as in the Linux kernel's
// Documentation/networking/j1939.rst): priority in bits 26 to 28, then a
// reserved bit, the data page, the PDU format, the PDU specific and the source
// address. Below format 240 the PDU specific is a destination, and no part of
// the PGN.
const (
	priorityBit    = 26
	priorityMask   = 7 << priorityBit
	pgnBit         = 8
	mostPGN        = 1<<18 - 1
	firstBroadcast = 0xF000 // PGNs of the first format that has no destination
	destination    = 0xFF   // of a PGN that has one: everybody
	destinationBit = 8
	sourceWidth    = 8
	usualPriority  = 6
)

// requestPGN asks for another parameter group, whose number is its payload, the least
// significant byte first (its number from published lists of SAE J1939 parameter
// groups; the payload from memory).
const requestPGN = 59904

// The PGNs of the transport protocol's own frames, from published lists: one
// announces and manages a transfer, the other carries its packets.
const (
	TransferManagement = 60416
	TransferData       = 60160
)

// hasDestination tells whether frames of a PGN are sent to somebody.
func hasDestination(pgn uint32) bool { return pgn&0xFFFF < firstBroadcast }

// PGN is the parameter group number in a 29-bit id.
func PGN(id uint32) uint32 {
	pgn := id >> pgnBit & mostPGN
	if hasDestination(pgn) {
		pgn &^= 0xFF
	}
	return pgn
}

// J1939ID is the 29-bit id of a PGN for a priority and a source address. A PGN
// that has a destination is sent to everybody.
func J1939ID(pgn uint32, priority, source byte) uint32 {
	id := uint32(priority)<<priorityBit | pgn<<pgnBit | uint32(source)
	if hasDestination(pgn) {
		id |= destination << destinationBit
	}
	return id
}

// SentID is the 29-bit id of a PGN for a source and a destination, which counts
// only if the PGN has one; the priority is the highest.
func SentID(pgn uint32, source, destination byte) uint32 {
	if !hasDestination(pgn) {
		return J1939ID(pgn, 0, source)
	}
	return pgn<<pgnBit | uint32(destination)<<destinationBit | uint32(source)
}

// j1939Match reads a PGN. Its frames come with any priority and to anybody, and
// their source is the pack's address unless the payload holds it; written ones
// have the priority given, and then the source given.
func (l *loader) j1939Match(o *document.Object) *CANMatch {
	pgn := uint32(o.NeedInt("pgn", 0, mostPGN))
	priority, source := byte(o.Int("priority", usualPriority, 0, 7)), byte(o.Int("source", 0, 0, math.MaxUint8))
	if hasDestination(pgn) && pgn&0xFF != 0 {
		l.Report(o.Node.Get("pgn"), RuleMatch, "PGN %#x is one with a destination, so its last byte must be 0: write %#x", pgn, pgn&^0xFF)
	}
	if l.idBits != 29 {
		l.Report(o.Node.Get("pgn"), RuleMatch, "a PGN stands in an id of 29 bits; the bus has %d", l.idBits)
	}
	c := &CANMatch{Extended: true, PGN: pgn, HasPGN: true, ID: J1939ID(pgn, priority, source), Ignored: priorityMask, AddressWidth: sourceWidth}
	if hasDestination(pgn) {
		c.Ignored |= 0xFF << destinationBit
	}
	return c
}

// sourceAddress sets the source address of a PGN apart from the pack's address,
// where the payload holds that.
func (l *loader) sourceAddress(m *Message) {
	inPayload := slices.ContainsFunc(m.Fields, func(f Field) bool { return f.Address })
	match := m.Place.Get("can")
	switch n := match.Get("source"); {
	case inPayload && m.CAN.HasPGN:
		m.CAN.AddressWidth = 0
		m.CAN.Ignored |= 1<<sourceWidth - 1
	case inPayload && m.CAN.AddressWidth > 0:
		l.Report(match.Get("address"), RuleTwice, "the address stands in the payload too")
	case n != nil && m.CAN.HasPGN:
		l.Report(n, RuleMeaning, "source has no effect here: the source address is the pack's, as no field is: address")
	}
}
