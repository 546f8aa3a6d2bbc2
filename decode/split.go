package decode

import (
	"packlink/mapping"
	"packlink/transport"
)

// splitter sends the frames of a message one after another. They share its
// memory.
type splitter struct {
	frame transport.Frame
	data  [mapping.ClassicBytes]byte
	emit  func(*transport.Frame) error
}

// split sends a message, given as one frame, as the frames of its transfer. The
// sequence tells a fast packet from the one before.
func split(by mapping.Transfer, sequence byte, whole *transport.Frame, emit func(*transport.Frame) error) error {
	s := &splitter{frame: *whole, emit: emit}
	switch by {
	case mapping.FastPacket:
		return s.fastPacket(sequence, whole.Data)
	case mapping.J1939Protocol:
		return s.j1939(whole)
	case mapping.ISOTP:
		return s.isoTP(whole.Data)
	}
	return emit(whole)
}

// send sends a frame: its head, then bytes of the payload, then filling.
func (s *splitter) send(fill byte, payload []byte, head ...byte) error {
	n := copy(s.data[:], head)
	n += copy(s.data[n:], payload)
	for i := n; i < len(s.data); i++ {
		s.data[i] = fill
	}
	s.frame.Data = s.data[:]
	return s.emit(&s.frame)
}

// numbered sends the frames behind the first. Their number, from 1, stands in
// the bits of the mask, beside a head.
func (s *splitter) numbered(fill byte, payload []byte, head, mask byte) error {
	for number := byte(1); len(payload) > 0; number++ {
		n := min(len(payload), mapping.FollowingBytes)
		if err := s.send(fill, payload[:n], head|number&mask); err != nil {
			return err
		}
		payload = payload[n:]
	}
	return nil
}
