package decode

import (
	"bytes"
	"fmt"
	"strings"

	"packlink/mapping"
	"packlink/mapping/framing"
	"packlink/transport"
)

// frame takes a frame of a CAN bus. The parts of a transfer are not frames of their
// own.
func (s *surveyed) frame(f *transport.Frame) {
	extended := f.Flags&transport.Extended != 0
	p, whole, outcome := s.decoder.message(f)
	is := Sighting{Kind: "id " + idText(f.ID, extended), Size: len(f.Data), Sample: f.Data, Address: -1}
	switch {
	case outcome == Part:
		return
	case p != nil:
		is.Message, is.Kind = p.Name, "id "+idText(p.CAN.ID, p.CAN.Extended)
		is.Sample, is.Size, is.Wrong = whole.Data, len(whole.Data), refusal(p, whole.Data)
		if address, has := address(p, whole.ID, whole.Data); has {
			is.Addresses, is.Address = []uint32{address}, int(address)
		}
	case s.question(f) != nil:
		is.Question, is.Message = true, s.question(f).Name
	case outcome != Unknown:
		is.Wrong = "not read, as " + outcome.String()
	}
	s.note(is)
}

// question is the message that a frame of a CAN bus asks for, nil if it is no question.
func (s *surveyed) question(f *transport.Frame) *mapping.Program {
	return s.table.FindQuestion(f.ID, f.Flags&transport.Extended != 0, f.Data)
}

// bytes takes bytes of a serial line.
func (s *surveyed) bytes(f *transport.Frame) {
	if f.Flags&transport.Lost != 0 {
		s.finder.Lost()
		s.open = Asked{}
	}
	for _, b := range f.Data {
		if frame, found := s.finder.Feed(b); found {
			s.whole(frame)
		}
	}
}

// whole takes a sound frame of a serial line, as it was before coding.
func (s *surveyed) whole(frame []byte) {
	bus := s.table.Bus.Serial
	var head serialHead
	readHead(bus, frame, &head)
	data := bus.Format.Data(frame)
	is := Sighting{Kind: bus.Kind(&head.values), Size: len(data), Sample: bus.Format.Sent(frame), Address: -1}
	if head.has {
		is.Addresses = []uint32{head.address}
	}
	if q := findQuestion(s.table, &head, data); q.Program != nil {
		s.open = q
		is.Question, is.Message = true, q.Program.Name
		s.note(is)
		return
	}
	p, unasked := pick(s.table, &head, data, &s.open)
	switch {
	case unasked:
		is.Wrong = "several messages look like it, and its question was not heard"
	case p != nil && head.has && !bus.HasAddress(uint64(head.address)):
		is.Message, is.Wrong = p.Name, fmt.Sprintf("a pack has an address from %d to %d", bus.Addresses[0], bus.Addresses[1])
	case p != nil:
		is.Message, is.Wrong = p.Name, refusal(p, data)
		if p.AddressIn != nil {
			address, _ := address(p, 0, data)
			is.Addresses, is.Address = []uint32{address}, int(address)
		}
	}
	s.note(is)
}

var troubles = [...]string{
	framing.Noise:       "of no frame",
	framing.BadChecksum: "the check value is wrong",
	framing.BadLength:   "its length is wrong",
	framing.Half:        "only the beginning of a frame",
}

// noiseShown is how many bytes of no frame are kept.
const noiseShown = 64

// trouble takes bytes of a serial line that are no sound frame.
func (s *surveyed) trouble(t framing.Trouble, sent []byte) {
	if t == framing.Noise {
		s.noise(sent)
		return
	}
	is := Sighting{Kind: "bytes", Wrong: troubles[t], Sample: sent, Address: -1}
	plain, pieces, err := s.table.Bus.Serial.Format.Dissect(sent)
	if t == framing.BadChecksum && err == nil {
		var head serialHead
		readHead(s.table.Bus.Serial, plain, &head)
		is.Kind, is.Size = s.table.Bus.Serial.Kind(&head.values), len(s.table.Bus.Serial.Format.Data(plain))
		is.Note = wrongChecks(plain, pieces)
	}
	s.note(is)
}

func (s *surveyed) noise(sent []byte) {
	if kept := s.note(Sighting{Kind: "single bytes", Wrong: troubles[framing.Noise], Address: -1}); kept != nil {
		kept.Frames += uint64(len(sent) - 1)
		kept.Sample = append(kept.Sample, sent[:min(len(sent), noiseShown-len(kept.Sample))]...)
	}
}

// wrongChecks says of the check values of a frame that are wrong which would be
// right.
func wrongChecks(plain []byte, pieces []framing.Piece) string {
	var all []string
	for _, piece := range pieces {
		if is := plain[piece.From:piece.To]; piece.Part.Role == framing.Check && !bytes.Equal(is, piece.Want) {
			all = append(all, fmt.Sprintf("the part %s is % X, and over these bytes it would be % X", piece.Part.Name, is, piece.Want))
		}
	}
	return strings.Join(all, "; ")
}

// registers takes an answer on a line of registers.
func (s *surveyed) registers(a *answer, _ int64) {
	bus := s.table.Bus.Registers
	is := Sighting{
		Kind: fmt.Sprintf("function %d, registers %d to %d", a.function, a.from, a.from+a.count-1),
		Size: len(a.data), Sample: a.data, Addresses: []uint32{uint32(a.unit)}, Address: -1,
	}
	var names []string
	for i := range s.table.Programs {
		if p := &s.table.Programs[i]; bus.Function() == int(a.function) && p.Read.Model == 0 && a.from < p.Read.From+p.Read.Count && p.Read.From < a.from+a.count {
			names = append(names, p.Name)
			is.Note = heldIn(p, a)
		}
	}
	if len(names) > 1 {
		is.Note = "the answer holds several messages"
	}
	is.Message = strings.Join(names, ", ")
	s.note(is)
}

// heldIn is how much of a message an answer has, "" if it is just the message.
func heldIn(p *mapping.Program, a *answer) string {
	if a.from == p.Read.From && a.count == p.Read.Count {
		return ""
	}
	return fmt.Sprintf("the message has registers %d to %d", p.Read.From, p.Read.From+p.Read.Count-1)
}
