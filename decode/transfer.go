package decode

import (
	"cmp"
	"slices"
	"time"

	"packlink/mapping"
	"packlink/transport"
)

// MaxTransfers is the most transfers of one source that are followed at once.
// One more takes the place of the one that is silent for longest.
const MaxTransfers = 256

// The silence within a transfer after which it is given up. All are from memory.
const (
	// NMEA 2000 fast packet, between its frames.
	fastPacketPatience = 750 * time.Millisecond
	// SAE J1939-21: T1, between the packets of a broadcast.
	broadcastPatience = 750 * time.Millisecond
	// SAE J1939-21: T2 and T3, between packets and clearances of a connection.
	connectionPatience = 1250 * time.Millisecond
	// ISO 15765-2:2016: N_Bs until the flow control, then N_Cr until the next
	// frame, 1 s each. The flow control has another id and need not be heard.
	isoTPPatience = 2 * time.Second
)

// transfers puts payloads together that travel in several frames.
type transfers struct {
	open  []*session
	spare []*session // ended ones, whose memory is used again
}

// session is a transfer that has begun and not ended.
type session struct {
	key      sessionKey
	whole    transport.Frame // id and flags of the message; Data is what has come
	size     int             // bytes that were announced
	next     int             // number of the next frame
	numbers  int             // the numbers begin anew behind this one
	patience time.Duration
	at       int64   // time of the newest frame
	lost     Outcome // why the rest is passed over; Decoded if it is not
}

// sessionKey tells transfers at the same time apart: by their id, and of fast
// packets by their sequence counter.
type sessionKey struct {
	id       uint32
	extended bool
	sequence byte
}

// take takes a frame of a message that is a transfer. It returns the whole
// message as a frame if this was its last one; it holds until the next call.
func (t *transfers) take(p *mapping.Program, f *transport.Frame) (whole *transport.Frame, outcome Outcome) {
	switch {
	case p.CAN.Transfer == mapping.J1939Protocol:
		return f, Decoded
	case len(f.Data) == 0:
		return nil, Short
	case len(f.Data) > mapping.ClassicBytes:
		return nil, Long
	case p.CAN.Transfer == mapping.FastPacket:
		return t.fastPacket(p.Longest, f)
	}
	return t.isoTP(p.Longest, f)
}

// whole is the message that a frame completes, and its program; p is the program
// of the frame's own id, nil if it has none. The program is nil where the frame
// completes none: the outcome says why.
func (d *Decoder) whole(p *mapping.Program, f *transport.Frame) (of *mapping.Program, whole *transport.Frame, outcome Outcome) {
	if p != nil {
		if whole, outcome = d.transfers.take(p, f); whole == nil {
			p = nil
		}
		return p, whole, outcome
	}
	if d.table.Transported {
		whole, outcome, ok := d.transfers.transported(d.table, f)
		if whole != nil {
			p = d.table.FindCAN(whole.ID, true)
		}
		if ok {
			return p, whole, outcome
		}
	}
	if d.table.IsQuestion(f.ID, f.Flags&transport.Extended != 0, f.Data) {
		return nil, nil, Decoded
	}
	d.unknown.count(f)
	return nil, nil, Unknown
}

// keyOf is the key of what is sent with a frame's id.
func keyOf(f *transport.Frame) sessionKey {
	return sessionKey{id: f.ID, extended: f.Flags&transport.Extended != 0}
}

// opening is what the first frame of a transfer says.
type opening struct {
	key      sessionKey
	id       uint32 // of the message
	size     int    // bytes of the payload
	most     int    // bytes that it may have
	numbers  int
	patience time.Duration
}

// begin begins a transfer: first are the bytes in its first frame, which has
// room for so many. Of one that is too long, the frames that follow are too.
func (t *transfers) begin(f *transport.Frame, o opening, first []byte, room int) (whole *transport.Frame, outcome Outcome) {
	s := t.find(o.key)
	outcome = Part
	if s == nil {
		s = t.add(f.Time)
	} else if s.lost == Decoded {
		outcome = Unfinished
	}
	s.key, s.size, s.numbers, s.patience = o.key, o.size, o.numbers, o.patience
	s.at, s.next, s.lost = f.Time, 1, Decoded
	s.whole.Medium, s.whole.ID, s.whole.Flags, s.whole.Channel = f.Medium, o.id, f.Flags, f.Channel
	s.whole.Data = s.whole.Data[:0]
	if o.size > o.most {
		s.lost = Long
		return nil, Long
	}
	return t.append(s, first, room, outcome)
}

// follow takes a further frame of a transfer: its number and its bytes.
func (t *transfers) follow(s *session, number int, data []byte, at int64) (whole *transport.Frame, outcome Outcome) {
	switch {
	case s == nil:
		return nil, Gap
	case s.lost != Decoded:
	case at-s.at > int64(s.patience):
		s.lost = Overtime
	case number != s.next:
		s.lost = Gap
	default:
		s.at = at
		s.next = (s.next + 1) % (s.numbers + 1)
		return t.append(s, data, mapping.FollowingBytes, Part)
	}
	return nil, s.lost
}

// append adds the bytes of a frame that has room for so many. What lies behind
// the payload only fills the last frame.
func (t *transfers) append(s *session, data []byte, room int, outcome Outcome) (*transport.Frame, Outcome) {
	n := min(room, s.size-len(s.whole.Data))
	if len(data) < n {
		s.lost = Short
		return nil, Short
	}
	s.whole.Data = append(s.whole.Data, data[:n]...)
	if len(s.whole.Data) < s.size {
		return nil, outcome
	}
	s.whole.Time = s.at
	t.end(s)
	return &s.whole, Decoded
}

// find is the transfer of a key, nil if there is none.
func (t *transfers) find(key sessionKey) *session {
	for _, s := range t.open {
		if s.key == key {
			return s
		}
	}
	return nil
}

// add makes room for a transfer that begins now. One that is silent for longest
// gives way, or one from before the clock was set back.
func (t *transfers) add(now int64) (s *session) {
	switch {
	case len(t.open) == MaxTransfers:
		away := func(s *session) int64 { return max(now-s.at, s.at-now) }
		return slices.MaxFunc(t.open, func(a, b *session) int { return cmp.Compare(away(a), away(b)) })
	case len(t.spare) == 0:
		s = new(session)
	default:
		s = t.spare[len(t.spare)-1]
		t.spare = t.spare[:len(t.spare)-1]
	}
	t.open = append(t.open, s)
	return s
}

// end forgets a transfer and keeps its memory.
func (t *transfers) end(s *session) {
	i := slices.Index(t.open, s)
	last := len(t.open) - 1
	t.open[i] = t.open[last]
	t.open = t.open[:last]
	t.spare = append(t.spare, s)
}
