package decode

import (
	"packlink/mapping"
	"packlink/transport"
)

// A frame of ISO 15765-2 begins with its kind in the upper four bits (ISO
// 15765-2:2016, from memory). Below it stands a length or a number, which runs
// from 0 to 15 and begins anew.
const (
	kindBit    = 4
	singleKind = 0
	firstKind  = 1
	nextKind   = 2
	flowKind   = 3
	kindMask   = 1<<kindBit - 1
	// isoTPFill fills frames (the standard's default, from memory).
	isoTPFill = 0xCC
)

func (t *transfers) isoTP(most int, f *transport.Frame) (whole *transport.Frame, outcome Outcome) {
	low := int(f.Data[0] & kindMask)
	o := opening{key: keyOf(f), id: f.ID, size: low, most: most, numbers: kindMask, patience: isoTPPatience}
	switch f.Data[0] >> kindBit {
	case singleKind:
		if low == 0 || low > mapping.FollowingBytes {
			return nil, Malformed
		}
		return t.begin(f, o, f.Data[1:], mapping.FollowingBytes)
	case firstKind:
		if len(f.Data) < mapping.ClassicBytes {
			return nil, Short
		}
		if o.size = low<<8 | int(f.Data[1]); o.size < mapping.ClassicBytes {
			return nil, Malformed
		}
		return t.begin(f, o, f.Data[2:], mapping.FirstBytes)
	case nextKind:
		return t.follow(t.find(o.key), low, f.Data[1:], f.Time)
	case flowKind:
		return nil, Part
	}
	return nil, Malformed
}

// isoTP sends a payload without waiting for flow control.
func (s *splitter) isoTP(payload []byte) error {
	size := len(payload)
	if size <= mapping.FollowingBytes {
		return s.send(isoTPFill, payload, singleKind<<kindBit|byte(size))
	}
	first, rest := payload[:mapping.FirstBytes], payload[mapping.FirstBytes:]
	if err := s.send(isoTPFill, first, firstKind<<kindBit|byte(size>>8), byte(size)); err != nil {
		return err
	}
	return s.numbered(isoTPFill, rest, nextKind<<kindBit, kindMask)
}
