package mapping

import (
	"math"
	"slices"
)

// Transfer is how a payload that may be longer than a CAN frame travels.
type Transfer uint8

// The transfers.
const (
	OneFrame      Transfer = iota // the payload is the frame's
	FastPacket                    // NMEA 2000 fast packet
	J1939Protocol                 // SAE J1939-21 transport protocol; a payload of at most 8 bytes is a frame
	ISOTP                         // ISO 15765-2 with normal addressing
)

// transferNames are the transfers as a file names them.
var transferNames = []string{OneFrame: "", FastPacket: "fast-packet", J1939Protocol: "j1939", ISOTP: "iso-tp"}

// String is the transfer as a file names it, "" of a single frame.
func (t Transfer) String() string { return transferNames[t] }

// FollowingBytes are the most bytes of a payload in a frame behind the first:
// one byte numbers the frame, in all three transfers.
const FollowingBytes = ClassicBytes - 1

// FirstBytes are the most bytes of a payload in its first frame, behind the
// length.
const FirstBytes = ClassicBytes - 2

// Most is the most bytes that a payload can have: a first frame of 6 and 31
// frames of 7 (NMEA 2000 fast packet, from memory), 255 packets of 7 (SAE
// J1939-21, from memory), a length of twelve bits (ISO 15765-2:2016, from
// memory).
func (t Transfer) Most() int {
	return [...]int{OneFrame: ClassicBytes, FastPacket: FirstBytes + 31*FollowingBytes, J1939Protocol: 255 * FollowingBytes, ISOTP: 1<<12 - 1}[t]
}

// Least is the fewest bytes that a payload can have: a single frame of ISO
// 15765-2 is not empty (ISO 15765-2:2016, from memory).
func (t Transfer) Least() int {
	if t == ISOTP {
		return 1
	}
	return 0
}

// setTransfer notes how the program's payloads travel.
func (p *Program) setTransfer() {
	if p.CAN == nil {
		return
	}
	p.Transfer, p.Longest = p.CAN.Transfer, p.Most
	for _, rival := range p.Rivals {
		p.Longest = max(p.Longest, rival.Most)
	}
}

// transportedApart notes a message that takes the frames of the J1939 transport
// protocol, where another message travels by it.
func (c *checker) transportedApart(msg *Message) {
	uses := func(m Message) bool { return m.CAN != nil && m.CAN.Transfer == J1939Protocol }
	if c.broken[msg.Place] || msg.CAN == nil || !msg.CAN.Extended || !slices.ContainsFunc(c.m.Messages, uses) {
		return
	}
	for _, pgn := range []uint32{TransferManagement, TransferData} {
		protocol := CANMatch{ID: pgn << pgnBit, Extended: true, Ignored: priorityMask | math.MaxUint16}
		if mask := protocol.Mask() & msg.CAN.Mask(); (protocol.ID^msg.CAN.ID)&mask == 0 {
			c.Report(at(msg.Place, "can"), RuleMatch, "%q takes frames of PGN %d, in which other messages of the file travel", msg.Name, pgn)
		}
	}
}
