package decode

import (
	"encoding/binary"
	"fmt"
	"strings"

	"packlink/mapping"
)

// AccountRTU accounts for a frame of a Modbus RTU line, from the unit to the CRC.
// An answer does not say which registers it holds: from is the first, -1 if that
// is not known.
func AccountRTU(c *mapping.Compiled, frame []byte, from int) *Account {
	a := newAccountant(frame, "Modbus RTU frame of %d bytes", len(frame))
	if len(frame) < 5 {
		a.problem("a frame has at least 5 bytes: unit, function, one more and two of CRC")
		a.rest(SpanUnknown, "too short for a frame")
		return a.done()
	}
	unit, function := frame[0], frame[1]
	s := Span{Kind: SpanHead, Name: "unit", Value: number(uint64(unit))}
	if s.Wrong = !c.Bus.Registers.HasUnit(int(unit)); s.Wrong {
		s.Note = fmt.Sprintf("no pack has it: they have %d to %d", c.Bus.Registers.Units[0], c.Bus.Registers.Units[1])
	}
	a.says(uint32(unit), !s.Wrong)
	a.claimBytes(s, 0, 1)
	a.crc()
	s = Span{Kind: SpanHead, Name: "function", Value: number(uint64(function & 0x7F))}
	if s.Wrong = int(function&0x7F) != c.Bus.Registers.Function(); s.Wrong {
		s.Note = fmt.Sprintf("the mapping's registers are read by function %d", c.Bus.Registers.Function())
	}
	a.claimBytes(s, 1, 2)
	switch {
	case function&0x80 != 0:
		a.claimBytes(Span{Kind: SpanHead, Name: "exception", Value: number(uint64(frame[2])), Note: "the unit refuses the question"}, 2, 3)
		a.problem("it is a refusal, and says nothing of the pack")
	case s.Wrong:
		a.problem("it is no frame that reads the mapping's registers")
	case len(frame) == 8 && isQuestion(frame):
		a.question(c)
	default:
		a.answer(c, from)
	}
	a.rest(SpanUnknown, "belongs to no frame of this function")
	return a.done()
}

// crc accounts for the last two bytes.
func (a *accountant) crc() {
	body := len(a.frame) - 2
	want := uint16(crcModbus.Sum(a.frame[:body]))
	s := Span{Kind: SpanChecksum, Name: "CRC-16/MODBUS", Note: "right"}
	if got := binary.LittleEndian.Uint16(a.frame[body:]); got != want {
		s.Wrong, s.Note = true, fmt.Sprintf("wrong; it should be %02X %02X", want&0xFF, want>>8)
		a.problem("the CRC is wrong, so the frame is passed over")
	}
	a.claimBytes(s, body, body+2)
}

func (a *accountant) question(c *mapping.Compiled) {
	from, count := int(binary.BigEndian.Uint16(a.frame[2:])), int(binary.BigEndian.Uint16(a.frame[4:]))
	a.Frame = fmt.Sprintf("question for registers %d to %d", from, from+count-1)
	a.claimBytes(Span{Kind: SpanHead, Name: "first register", Value: number(int64(from))}, 2, 4)
	s := Span{Kind: SpanHead, Name: "registers", Value: number(int64(count)), Note: "of no message"}
	var asked []string
	for i := range c.Programs {
		if r := c.Programs[i].Read; r.Model == 0 && r.From < from+count && from < r.From+r.Count {
			asked = append(asked, c.Programs[i].Name)
		}
	}
	if len(asked) > 0 {
		s.Note = "asks for " + strings.Join(asked, ", ")
	}
	a.claimBytes(s, 4, 6)
}

// answer accounts for the registers of an answer. Where nobody says which they
// are, they are those of the only message that has so many.
func (a *accountant) answer(c *mapping.Compiled, from int) {
	there := len(a.frame) - 5
	s := Span{Kind: SpanLength, Name: "bytes", Value: number(uint64(a.frame[2]))}
	if s.Wrong = int(a.frame[2]) != there; s.Wrong {
		s.Note = fmt.Sprintf("%d bytes stand between it and the CRC", there)
		a.problem("the count of bytes is wrong, so the frame is passed over")
	}
	a.claimBytes(s, 2, 3)
	if from < 0 {
		from = a.guessed(c, there)
	}
	if from < 0 {
		a.problem("an answer does not say which registers it holds: say the first with --register")
		return
	}
	a.Frame = fmt.Sprintf("answer of registers %d to %d", from, from+there/2-1)
	a.registers(c, from, 3, 3+there)
}

// guessed is the first register of the only message that has so many bytes, -1
// if that is none or several.
func (a *accountant) guessed(c *mapping.Compiled, size int) (from int) {
	from = -1
	for i := range c.Programs {
		if p := &c.Programs[i]; p.Read.Model == 0 && 2*p.Read.Count == size {
			if from >= 0 {
				return -1
			}
			from = p.Read.From
		}
	}
	if from >= 0 {
		a.problem("an answer does not say which registers it holds: these are taken for the only message that has so many")
	}
	return from
}

// IsRTU tells whether bytes are a Modbus RTU frame rather than registers: they
// have its shape, and an odd length, which registers do not have, or a right CRC.
func IsRTU(data []byte) bool {
	return len(data) >= 5 && frameLength(data) == len(data) && (len(data)%2 != 0 || sound(data))
}
