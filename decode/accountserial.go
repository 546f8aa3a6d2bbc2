package decode

import (
	"bytes"
	"fmt"

	"packlink/mapping"
	"packlink/mapping/framing"
)

// AccountSerial accounts for a frame of a serial line, from its first part to its
// last. Where the mapping's bus has a coding, the spans are those of the frame
// before coding. asked is the question before it, nil if that is not known.
func AccountSerial(c *mapping.Compiled, sent, asked []byte) *Account {
	format := c.Bus.Serial.Format
	if n := framesIn(format, sent); n > 1 {
		a := newAccountant(sent, "%d bytes", len(sent))
		a.problem("these are %d frames: give one of them", n)
		a.rest(SpanUnknown, "of several frames")
		return a.done()
	}
	plain, pieces, err := format.Dissect(sent)
	if err != nil {
		a := newAccountant(sent, "%d bytes", len(sent))
		a.problem("%v", err)
		a.rest(SpanUnknown, "no frame of this bus")
		return a.done()
	}
	a := newAccountant(plain, "frame of %d bytes", len(sent))
	if len(plain) != len(sent) {
		a.Frame += fmt.Sprintf(", %d before coding; these are accounted for", len(plain))
	}
	for _, piece := range pieces {
		a.piece(c.Bus.Serial, &piece)
	}
	var head serialHead
	readHead(c.Bus.Serial, plain, &head)
	a.serialMessage(c, &head, pieces, asked)
	a.rest(SpanUnknown, "of no message")
	return a.done()
}

// framesIn is how many sound frames there are among bytes.
func framesIn(format *framing.Format, sent []byte) (n int) {
	finder := format.NewFinder()
	for _, b := range sent {
		if _, found := finder.Feed(b); found {
			n++
		}
	}
	return n
}

// piece accounts for a part that is not the data.
func (a *accountant) piece(bus *mapping.SerialBus, piece *framing.Piece) {
	p, is := piece.Part, a.frame[piece.From:piece.To]
	s := Span{Kind: SpanHead, Name: p.Name}
	switch p.Role {
	case framing.Data:
		return
	case framing.Value:
		s.Value, s.Note = number(p.Number(is)), fmt.Sprintf("0x%0*X", 2*p.Size, p.Number(is))
		if piece.Index == bus.Address {
			s.Kind, s.Note = SpanAddress, ""
			if s.Wrong = !bus.HasAddress(p.Number(is)); s.Wrong {
				s.Note = fmt.Sprintf("no pack has it: they have %d to %d", bus.Addresses[0], bus.Addresses[1])
			}
		}
	case framing.Length:
		s.Kind, s.Value = SpanLength, number(p.Number(is))
		a.compare(&s, is, piece.Want, "ends elsewhere")
	case framing.Check:
		s.Kind = SpanChecksum
		a.compare(&s, is, piece.Want, "is damaged")
	default:
		s.Kind = SpanConstant
		a.compare(&s, is, piece.Want, "is none of this bus")
	}
	a.claimBytes(s, piece.From, piece.To)
}

// compare says whether a part is what it should be.
func (a *accountant) compare(s *Span, is, want []byte, what string) {
	s.Note = "right"
	if bytes.Equal(is, want) {
		return
	}
	s.Wrong, s.Note = true, "wrong; nothing would be right for a frame of this length"
	if want != nil {
		s.Note = fmt.Sprintf("wrong; it should be % X", want)
	}
	a.problem("the part %s is wrong: the frame %s", s.Name, what)
}

// serialMessage accounts for the data of a frame.
func (a *accountant) serialMessage(c *mapping.Compiled, head *serialHead, pieces []framing.Piece, asked []byte) {
	bus := c.Bus.Serial
	data := bus.Format.Data(a.frame)
	at := len(a.frame) - len(data)
	for _, piece := range pieces {
		if piece.Part.Role == framing.Data {
			at = piece.From
		}
	}
	a.data = at
	a.says(head.address, head.has)
	if q := findQuestion(c, head, data); q.Program != nil {
		a.message(q.Program)
		a.problem("it is the question for %s, and says nothing of the pack", q.Program.Name)
		a.claimBytes(Span{Kind: SpanHead, Name: "question"}, at, at+len(data))
		return
	}
	open := a.questionBefore(c, asked)
	p, unasked := pick(c, head, data, &open)
	if p == nil {
		a.noMessage(c, head, unasked)
		return
	}
	if open.Program != nil && !open.pairs(p, head) {
		a.problem("the question before it is for %s%s: this is not its answer", open.Program.Name, open.of())
	}
	if len(data) < p.Least || len(data) > p.Most {
		a.problem("it has %d bytes of data and the message %s, so the frame is refused", len(data), lengthText(p))
	}
	if p.AddressIn != nil {
		address, has := address(p, 0, data)
		a.says(address, has)
	}
	end := min(len(data), p.Most)
	a.payload(p, payloadPart{data: data[:end], end: end, at: at})
	a.reserve(at, at+end, p.Fill)
	if end < len(data) {
		a.claimBytes(Span{Kind: SpanBeyond, Note: "behind the end of the message", Wrong: true}, at+end, at+len(data))
	}
}

// questionBefore is the question that the frame may be the answer to.
func (a *accountant) questionBefore(c *mapping.Compiled, asked []byte) (q Asked) {
	if asked == nil {
		return q
	}
	plain, pieces, err := c.Bus.Serial.Format.Dissect(asked)
	if wrong := wrongChecks(plain, pieces); err == nil && wrong != "" {
		a.problem("the question before it does not hold: %s", wrong)
	}
	if err == nil {
		var head serialHead
		readHead(c.Bus.Serial, plain, &head)
		q = findQuestion(c, &head, c.Bus.Serial.Format.Data(plain))
	}
	if q.Program == nil {
		a.problem("the question before it is none of the mapping's")
	}
	return q
}

// of is which pack a question is to, if it says so.
func (q *Asked) of() string {
	if !q.Told {
		return ""
	}
	return fmt.Sprintf(" of address %d", q.Address)
}

// noMessage says why a frame is no message, and lists those that it could be.
func (a *accountant) noMessage(c *mapping.Compiled, head *serialHead, unasked bool) {
	if unasked {
		a.problem("it is the answer to a question that is not known: several messages look like it; give the question with --asked")
	} else {
		a.problem("no message has these values and %d bytes of data: %s", len(c.Bus.Serial.Format.Data(a.frame)), c.Bus.Serial.Describe(&head.values))
	}
	for i := range c.Programs {
		p := &c.Programs[i]
		if len(a.Nearest) < mostNearest && (!unasked || head.holds(p.Frame.Values)) {
			a.Nearest = append(a.Nearest, fmt.Sprintf("%s: %s, %s bytes", p.Name, c.Bus.Serial.Expects(p.Frame), lengthText(p)))
		}
	}
}
