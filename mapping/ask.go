package mapping

import (
	"bytes"
	"fmt"
	"math"
	"time"

	"packlink/mapping/document"
)

// Question is a frame that is sent to a pack, which answers with a message.
type Question struct {
	ID      uint32        // with 0 where the message's own id has the pack's address
	Payload []byte        // it fits one frame
	Every   time.Duration // period at which it is asked; that of the message if it says none
}

// question reads what asks for a message.
func (l *loader) question(n *document.Node, m *Message) {
	o := l.Object(n, "ask on a CAN bus")
	if o == nil || m.CAN == nil {
		return
	}
	q := &Question{ID: uint32(o.NeedInt("id", 0, math.MaxUint32)), Payload: l.payload(o.Need("hex")), Every: o.Duration("every")}
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
	case m.CAN.HasPGN:
		l.Report(n, RuleMatch, "a message with a pgn is not asked for by an id: leave ask out, or say id and address in place of pgn")
	case m.ByReader:
		l.Report(n, RuleMeaning, "a message by the reader is no answer of the pack")
	case q.ID >= 1<<m.CAN.bits():
		l.Report(id, RuleMatch, "an id of %d bits is at most %#x; this is %#x", m.CAN.bits(), 1<<m.CAN.bits()-1, q.ID)
	case q.ID&m.CAN.addressMask() != 0:
		l.Report(id, RuleMatch, "the id has bits where the address stands: write %#x", q.ID&^m.CAN.addressMask())
	}
	m.CAN.Ask = q
}

// askedApart notes a question whose id is that of a message.
func (c *checker) askedApart(msg *Message) {
	if msg.CAN == nil || msg.CAN.Ask == nil || c.broken[msg.Place] {
		return
	}
	asked := CANMatch{ID: msg.CAN.Ask.ID, Extended: msg.CAN.Extended, Ignored: msg.CAN.addressMask()}
	for i := range c.m.Messages {
		other := c.m.Messages[i].CAN
		if other == nil || c.broken[c.m.Messages[i].Place] {
			continue
		}
		mask := asked.Mask() & other.Mask()
		if asked.Extended == other.Extended && (asked.ID^other.ID)&mask == 0 {
			c.Report(at(at(msg.Place, "ask"), "id"), RuleMatch, "a frame can be the question for %q and the message %q: their ids are the same", msg.Name, c.m.Messages[i].Name)
		}
	}
}

// IsQuestion tells whether a frame is a question for a message of the mapping, or
// steers how its answer travels: then it says nothing of the pack.
func (c *Compiled) IsQuestion(id uint32, extended bool, data []byte) bool {
	return c.FindQuestion(id, extended, data) != nil
}

// FindQuestion is the first message that such a frame asks for, nil if it is no
// question of the mapping.
func (c *Compiled) FindQuestion(id uint32, extended bool, data []byte) *Program {
	for _, p := range c.asked {
		if p.CAN.Extended == extended && id&^p.CAN.addressMask() == p.CAN.Ask.ID && p.CAN.isQuestion(data) {
			return p
		}
	}
	return nil
}

// question is how the message is asked for, as a table shows it.
func (c *CANMatch) question() string {
	asked := CANMatch{AddressBit: c.AddressBit, AddressWidth: c.AddressWidth}
	text := fmt.Sprintf("asked for by %s%s: % X", c.idText(c.Ask.ID), asked.address(), c.Ask.Payload)
	if c.Ask.Every > 0 {
		text += fmt.Sprintf(", every %v", c.Ask.Every)
	}
	return text
}

// isoTPFlow are the upper four bits of a flow control frame of ISO 15765-2.
const isoTPFlow = 3

func (c *CANMatch) isQuestion(data []byte) bool {
	if c.Transfer != ISOTP {
		return bytes.Equal(data, c.Ask.Payload)
	}
	size := len(c.Ask.Payload)
	return len(data) > 0 && data[0]>>4 == isoTPFlow ||
		len(data) > size && int(data[0]) == size && bytes.Equal(data[1:1+size], c.Ask.Payload)
}
