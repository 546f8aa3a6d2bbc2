package decode

import (
	"packlink/mapping"
	"packlink/transport"
)

// The transport protocol of SAE J1939-21: frames of one PGN announce, clear and
// end a transfer, frames of another carry its packets. The PGNs and the kinds are
// those of published lists; the places of the bytes are from memory.
const (
	manageAbort     = 0xFF
	manageBroadcast = 0x20
	manageEnded     = 0x13
	manageClear     = 0x11
	manageRequest   = 0x10
	manageBytes     = 8
	j1939Fill       = 0xFF
	packetNumbers   = 255
	// transferPriority is that of the protocol's own frames (from memory).
	transferPriority = 7
)

// transported takes a frame whose id is of no message of the mapping: it may
// belong to a transfer of the transport protocol. It is not ok if it does not.
func (t *transfers) transported(table *mapping.Compiled, f *transport.Frame) (whole *transport.Frame, outcome Outcome, ok bool) {
	if f.Flags&transport.Extended == 0 {
		return nil, Unknown, false
	}
	switch mapping.PGN(f.ID) {
	case mapping.TransferData:
		s := t.find(packetsOf(byte(f.ID), byte(f.ID>>8)))
		if s == nil || len(f.Data) == 0 {
			return nil, Unknown, false
		}
		whole, outcome = t.follow(s, int(f.Data[0]), f.Data[1:], f.Time)
		return whole, outcome, true
	case mapping.TransferManagement:
		if len(f.Data) == manageBytes {
			outcome, ok = t.manage(table, f)
			return nil, outcome, ok
		}
	}
	return nil, Unknown, false
}

// packetsOf is the key of what a sender sends to a destination.
func packetsOf(source, destination byte) sessionKey {
	return sessionKey{id: mapping.TransferData<<8 | uint32(destination)<<8 | uint32(source), extended: true}
}

// manage takes a frame that says something of a transfer. One of a message that
// the mapping does not have ends the sender's last one all the same.
func (t *transfers) manage(table *mapping.Compiled, f *transport.Frame) (outcome Outcome, ok bool) {
	from, to := byte(f.ID), byte(f.ID>>8)
	sent, received := packetsOf(from, to), packetsOf(to, from)
	kind, pgn := f.Data[0], uint32(f.Data[5])|uint32(f.Data[6])<<8|uint32(f.Data[7])<<16
	begins := kind == manageRequest || kind == manageBroadcast
	id := mapping.J1939ID(pgn, 0, from)
	p := table.FindCAN(id, true)
	switch {
	case p == nil || mapping.PGN(id) != pgn || p.CAN.Transfer != mapping.J1939Protocol:
		return Unfinished, begins && t.abort(sent)
	case begins:
		return t.announce(f, sent, mapping.SentID(pgn, from, to), p.Longest), true
	case kind == manageClear:
		return t.clearance(t.find(received), f), true
	case kind == manageAbort && (t.abort(sent) || t.abort(received)):
		return Unfinished, true
	case kind == manageAbort || kind == manageEnded:
		return Part, true
	}
	return Malformed, true
}

// announce begins the transfer of a message with an id.
func (t *transfers) announce(f *transport.Frame, key sessionKey, id uint32, most int) (outcome Outcome) {
	size := int(f.Data[1]) | int(f.Data[2])<<8
	if size <= mapping.ClassicBytes || packets(size) != int(f.Data[3]) {
		t.abort(key)
		return Malformed
	}
	o := opening{key: key, id: id, size: size, most: most, numbers: packetNumbers, patience: connectionPatience}
	if f.Data[0] == manageBroadcast {
		o.patience = broadcastPatience
	}
	_, outcome = t.begin(f, o, nil, 0)
	return outcome
}

// clearance takes the receiver's word which packet it wants next: that may be
// one it had before.
func (t *transfers) clearance(s *session, f *transport.Frame) (outcome Outcome) {
	cleared, next := f.Data[1], int(f.Data[2])
	switch {
	case s == nil:
		return Part
	case s.lost != Decoded:
		return s.lost
	case cleared > 0 && (next == 0 || next > s.next):
		s.lost = Gap
		return Gap
	case cleared > 0:
		s.next = next
		s.whole.Data = s.whole.Data[:(next-1)*mapping.FollowingBytes]
	}
	s.at = f.Time
	return Part
}

// abort drops a transfer, and tells whether there was one to lose.
func (t *transfers) abort(key sessionKey) bool {
	s := t.find(key)
	if s == nil {
		return false
	}
	t.end(s)
	return s.lost == Decoded
}

// j1939 sends a payload that fits as a frame of its own id, others as a broadcast.
func (s *splitter) j1939(whole *transport.Frame) error {
	size := len(whole.Data)
	if size <= mapping.ClassicBytes {
		return s.emit(whole)
	}
	source, pgn := byte(whole.ID), mapping.PGN(whole.ID)
	s.frame.ID = mapping.J1939ID(mapping.TransferManagement, transferPriority, source)
	err := s.send(j1939Fill, nil, manageBroadcast, byte(size), byte(size>>8), byte(packets(size)), j1939Fill, byte(pgn), byte(pgn>>8), byte(pgn>>16))
	if err != nil {
		return err
	}
	s.frame.ID = mapping.J1939ID(mapping.TransferData, transferPriority, source)
	return s.numbered(j1939Fill, whole.Data, 0, packetNumbers)
}

// packets is how many packets carry a payload.
func packets(size int) int {
	return (size + mapping.FollowingBytes - 1) / mapping.FollowingBytes
}
