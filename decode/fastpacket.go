package decode

import (
	"packlink/mapping"
	"packlink/transport"
)

// A frame of an NMEA 2000 fast packet begins with a sequence counter, which
// tells the transfers of a sender apart, above the frame's number. Frame 0 has
// the payload's length next. What a frame does not need is filled with FF. This
// is what general-purpose NMEA 2000 libraries write.
const (
	sequenceBit    = 5
	sequences      = 1 << (8 - sequenceBit)
	numberMask     = 1<<sequenceBit - 1
	fastPacketFill = 0xFF
)

func (t *transfers) fastPacket(most int, f *transport.Frame) (whole *transport.Frame, outcome Outcome) {
	key := keyOf(f)
	key.sequence = f.Data[0] >> sequenceBit
	if number := int(f.Data[0] & numberMask); number > 0 {
		return t.follow(t.find(key), number, f.Data[1:], f.Time)
	}
	if len(f.Data) < 2 {
		return nil, Short
	}
	size := int(f.Data[1])
	if size > mapping.FastPacket.Most() {
		return nil, Malformed
	}
	o := opening{key: key, id: f.ID, size: size, most: most, numbers: numberMask, patience: fastPacketPatience}
	return t.begin(f, o, f.Data[2:], mapping.FirstBytes)
}

func (s *splitter) fastPacket(sequence byte, payload []byte) error {
	head := sequence % sequences << sequenceBit
	n := min(len(payload), mapping.FirstBytes)
	if err := s.send(fastPacketFill, payload[:n], head, byte(len(payload))); err != nil {
		return err
	}
	return s.numbered(fastPacketFill, payload[n:], head, numberMask)
}
