package mapping

import (
	"fmt"
	"math"
	"time"

	"packlink/mapping/document"
)

// Question is a frame that is sent to a pack, which answers with a message.
type Question struct {
	ID      uint32        // as it is sent to no pack or to everybody; see [CANMatch.Asked]
	Payload []byte        // it fits one frame
	Every   time.Duration // period at which it is asked; that of the message if it says none
}

// question reads what asks for a message.
func (l *loader) question(n *document.Node, m *Message) {
	o := l.Object(n, "ask on a CAN bus")
	if o == nil || m.CAN == nil {
		return
	}
	q := &Question{Every: o.Duration("every")}
	if pgn := o.Get("pgn"); pgn != nil {
		l.request(o, m, q)
	} else {
		q.ID, q.Payload = uint32(o.NeedInt("id", 0, math.MaxUint32)), l.payload(o.Need("hex"))
		o.Only("beside pgn", "source")
	}
	o.Done()
	if m.Every == 0 {
		m.Every = q.Every
	}
	if q.Every == 0 {
		q.Every = m.Every
	}
	most := ClassicBytes
	if m.CAN.Transfer == ISOTP {
		most = FollowingBytes
	}
	if len(q.Payload) > most {
		l.Report(o.Node.Get("hex"), RuleBounds, "a question is one frame, which holds %d bytes; this one has %d", most, len(q.Payload))
	}
	switch id := o.Node.Get("id"); {
	case m.ByReader:
		l.Report(n, RuleMeaning, "a message by the reader is no answer of the pack")
	case m.CAN.HasPGN && id != nil:
		l.Report(n, RuleMatch, "a message with a pgn is asked for by one, as in ask: {pgn: %d, source: 0xF9}; or say id and address in place of pgn in its can", requestPGN)
	case m.CAN.HasPGN:
	case q.ID >= 1<<m.CAN.bits():
		l.Report(id, RuleMatch, "an id of %d bits is at most %#x; this is %#x", m.CAN.bits(), 1<<m.CAN.bits()-1, q.ID)
	case q.ID&m.CAN.addressMask() != 0:
		l.Report(id, RuleMatch, "the id has bits where the address stands: write %#x", q.ID&^m.CAN.addressMask())
	}
	m.CAN.Ask = q
}

// request reads a question that is a parameter group, sent to the pack's address.
func (l *loader) request(o *document.Object, m *Message, q *Question) {
	pgn, source := uint32(o.Int("pgn", 0, 0, mostPGN)), byte(o.NeedInt("source", 0, math.MaxUint8))
	q.ID = J1939ID(pgn, usualPriority, source)
	switch hex := o.Get("hex"); {
	case hex != nil:
		q.Payload = l.payload(hex)
	case pgn == requestPGN:
		q.Payload = []byte{byte(m.CAN.PGN), byte(m.CAN.PGN >> 8), byte(m.CAN.PGN >> 16)}
	default:
		l.Report(o.Node, document.RuleMissingKey, "a question needs \"hex\", its payload, unless it is the request of SAE J1939, pgn: %d", requestPGN)
	}
	switch place := o.Node.Get("pgn"); {
	case !m.CAN.HasPGN:
		l.Report(place, RuleMatch, "a message with an id is asked for by an id; or say pgn in place of id in its can")
	case !hasDestination(pgn):
		l.Report(place, RuleMatch, "PGN %#x is sent to everybody; a question is sent to the pack, as PGN %d is", pgn, requestPGN)
	case pgn&0xFF != 0:
		l.Report(place, RuleMatch, "PGN %#x is one with a destination, so its last byte must be 0: write %#x", pgn, pgn&^0xFF)
	}
}

// askedApart notes a question whose id is that of a message.
func (c *checker) askedApart(msg *Message) {
	if msg.CAN == nil || msg.CAN.Ask == nil || c.broken[msg.Place] {
		return
	}
	asked := msg.CAN.askedMatch()
	for i := range c.m.Messages {
		other := c.m.Messages[i].CAN
		if other == nil || c.broken[c.m.Messages[i].Place] {
			continue
		}
		if asked.overlaps(other) {
			ask := at(msg.Place, "ask")
			c.Report(at(ask, "id"), RuleMatch, "a frame can be the question for %q and the message %q: their ids are the same", msg.Name, c.m.Messages[i].Name)
		}
	}
}

// question is how the message is asked for, as a table shows it.
func (c *CANMatch) question() string {
	asked := CANMatch{AddressBit: c.AddressBit, AddressWidth: c.AddressWidth}
	if c.HasPGN && c.AddressWidth > 0 {
		asked.AddressBit = destinationBit
	}
	text := fmt.Sprintf("asked for by %s%s: % X", c.idText(c.Asked(0)), asked.address(), c.Ask.Payload)
	if c.Ask.Every > 0 {
		text += fmt.Sprintf(", every %v", c.Ask.Every)
	}
	return text
}
