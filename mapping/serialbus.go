package mapping

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"packlink/mapping/framing"
)

// SerialBus is a serial line whose frames are made of parts.
type SerialBus struct {
	Baud         int             // bit/s; 0 if the document does not say
	Frame        string          // data bits, parity and stop bits, such as "8N1"; "" if the document does not say
	Addresses    [2]int          // first and last address that can be a pack
	AnswerWithin time.Duration   // longest time to an answer; 0 if the document does not say
	Quiet        time.Duration   // least silence before a question; 0 if the document does not say
	Format       *framing.Format // what a frame is made of
	Address      int             // index of the part that is the pack's address; -1 if there is none
}

// FrameMatch says which frames of a serial line are a message.
type FrameMatch struct {
	Values []PartValue // parts that are not among them may be anything
}

// PartValue is the value of a part of a frame.
type PartValue struct {
	Part  int // its index
	Value uint64
}

// Ask is the question that a message is the answer to.
type Ask struct {
	Every  time.Duration // period at which it is asked; that of the message if it says none
	Values []PartValue
	Data   []AskByte
}

// AskByte is a byte of a question's data.
type AskByte struct {
	Value   byte
	Address bool // the pack's address stands here
}

// same tells whether two questions cannot be told apart.
func (a *Ask) same(b *Ask) bool {
	return slices.Equal(a.Values, b.Values) && slices.Equal(a.Data, b.Data)
}

// apart tells whether no frame can be of both messages. The length tells only what
// no question does, as an answer can have a wrong one.
func (m *Message) apart(other *Message) bool {
	asked := m.Ask != nil && other.Ask != nil && !m.Ask.same(other.Ask)
	return m.differs(other) || !asked && (m.MaxBytes < other.MinBytes || other.MaxBytes < m.MinBytes)
}

// differs tells whether the values of parts, or constants, tell two messages apart.
func (m *Message) differs(other *Message) bool {
	return valuesDiffer(m.Frame.Values, other.Frame.Values) || differ(m.Tests, other.Tests)
}

// pair notes which messages a frame or a question of a message could be, too.
func (c *Compiled) pair(p *Program) {
	p.Bus, p.Alone, p.Asked = c.Bus.Serial, true, -1
	if p.Frame == nil {
		return
	}
	for i := range c.Programs {
		other := &c.Programs[i]
		if other != p && !p.apart(other.Message) {
			p.Alone = false
		}
		p.Sized = p.Sized || other != p && !p.differs(other.Message) && p.apart(other.Message)
		if p.Asked < 0 && p.Ask != nil && other.Ask != nil && p.Ask.same(other.Ask) {
			p.Asked = i
		}
	}
}

// HasQuestions tells whether some message of the mapping is asked for.
func (m *Mapping) HasQuestions() bool {
	return slices.ContainsFunc(m.Messages, func(msg Message) bool { return msg.Ask != nil || msg.CAN != nil && msg.CAN.Ask != nil })
}

// Told tells whether the address of a question's frame is that of the pack which
// is asked.
func (b *SerialBus) Told(a *Ask) bool {
	return b.Address >= 0 && value(a.Values, b.Address) == nil
}

// Names tells whether a question says anywhere which pack is asked.
func (b *SerialBus) Names(a *Ask) bool {
	return b.Told(a) || slices.ContainsFunc(a.Data, func(b AskByte) bool { return b.Address })
}

// AsksByAddress tells whether a question of the mapping says which pack is asked.
func (m *Mapping) AsksByAddress() bool {
	return m.Bus.Serial == nil || slices.ContainsFunc(m.Messages, func(msg Message) bool {
		return msg.Ask != nil && m.Bus.Serial.Names(msg.Ask)
	})
}

// Line is the speed and the frame of the mapping's serial line, as far as its
// document says: 0 and "" if it does not.
func (b *Bus) Line() (baud int, frame string) {
	switch {
	case b.Registers != nil:
		return b.Registers.Baud, b.Registers.Frame
	case b.Serial != nil:
		return b.Serial.Baud, b.Serial.Frame
	}
	return 0, ""
}

// HasAddress tells whether a pack can have an address.
func (b *SerialBus) HasAddress(address uint64) bool {
	return address >= uint64(b.Addresses[0]) && address <= uint64(b.Addresses[1])
}

// value is the value of a part among others, nil if it is not there.
func value(values []PartValue, part int) *uint64 {
	for i := range values {
		if values[i].Part == part {
			return &values[i].Value
		}
	}
	return nil
}

// valuesDiffer tells whether some part has one value here and another there.
func valuesDiffer(a, b []PartValue) bool {
	for _, v := range a {
		if other := value(b, v.Part); other != nil && *other != v.Value {
			return true
		}
	}
	return false
}

// describe is values as a person reads them: kind 0x03, status 0x00.
func (b *SerialBus) describe(values []PartValue) string {
	if len(values) == 0 {
		return "any values"
	}
	parts := make([]string, len(values))
	for i, v := range values {
		p := &b.Format.Parts[v.Part]
		parts[i] = fmt.Sprintf("%s 0x%0*X", p.Name, 2*p.Size, v.Value)
	}
	return strings.Join(parts, ", ")
}

// Expects is the values that the frames of a message have, as a person reads them.
func (b *SerialBus) Expects(m *FrameMatch) string { return b.describe(m.Values) }

// asked is by what question a message is asked for, "" if it is sent unasked.
func (b *SerialBus) asked(a *Ask) string {
	if a == nil {
		return ""
	}
	text := ", asked by " + b.describe(a.Values)
	for i, d := range a.Data {
		if i == 0 {
			text += ", data"
		}
		if d.Address {
			text += " address"
		} else {
			text += fmt.Sprintf(" %02X", d.Value)
		}
	}
	return text
}

// parts is what a frame is made of, in the order of the line.
func (b *SerialBus) parts() string {
	all := make([]string, len(b.Format.Parts))
	for i, p := range b.Format.Parts {
		switch all[i] = p.Name; {
		case p.Role == framing.Constant:
			all[i] += fmt.Sprintf(" % X", p.Bytes)
		case p.Size > 0:
			all[i] += fmt.Sprintf(" (%d)", p.Size)
		}
	}
	return strings.Join(all, ", ")
}

// Describe is the values of a frame that a message can say, as a person reads
// them: kind 0x03, status 0x00.
func (b *SerialBus) Describe(values *[framing.MaxParts]uint64) string {
	return b.describe(b.named(values, true))
}

// Kind is likewise, without the address of the pack.
func (b *SerialBus) Kind(values *[framing.MaxParts]uint64) string {
	return b.describe(b.named(values, false))
}

func (b *SerialBus) named(values *[framing.MaxParts]uint64, address bool) (named []PartValue) {
	for i := range b.Format.Parts {
		if b.Format.Parts[i].Role == framing.Value && (address || i != b.Address) {
			named = append(named, PartValue{i, values[i]})
		}
	}
	return named
}
