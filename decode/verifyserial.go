package decode

import (
	"bytes"
	"fmt"

	"packlink/mapping"
	"packlink/mapping/document"
	"packlink/mapping/framing"
)

// unframe finds the example's frame and takes its payload. It is false if the
// example is no sound frame of the message.
func (v *verifier) unframe() bool {
	bus := v.program.Bus
	frame, ok := v.wholeFrame()
	if !ok {
		return false
	}
	readHead(bus, frame, &v.head)
	v.payload = bytes.Clone(bus.Format.Data(frame))
	for _, want := range v.program.Frame.Values {
		if got := v.head.values[want.Part]; got != want.Value {
			v.fail("the part %s of the example is %#x; the message has %#x", bus.Format.Parts[want.Part].Name, got, want.Value)
			return false
		}
	}
	switch {
	case v.head.has && !bus.HasAddress(uint64(v.head.address)):
		v.fail("the example comes from address %d; a pack has %d to %d", v.head.address, bus.Addresses[0], bus.Addresses[1])
	case v.example.Address >= 0 && uint32(v.example.Address) != v.head.address:
		v.fail("the example comes from address %d, not %d", v.head.address, v.example.Address)
	}
	return true
}

// wholeFrame is the example's one frame before coding.
func (v *verifier) wholeFrame() (frame []byte, ok bool) {
	finder := v.program.Bus.Format.NewFinder()
	last := len(v.example.Payload) - 1
	for i, b := range v.example.Payload {
		frame, ok = finder.Feed(b)
		if ok && i == last && finder.Counts() == (framing.Counts{}) {
			return frame, true
		}
		if ok {
			v.fail("the example is more than one frame: one ends with byte %d of %d", i+1, last+1)
			return nil, false
		}
	}
	finder.Lost()
	switch c := finder.Counts(); {
	case c.BadChecksum > 0:
		v.fail("the example's check value does not hold: %s%s", wrongChecksOf(v.program.Bus.Format, v.example.Payload), wrongLengthOf(v.program.Bus.Format, v.example.Payload))
	case c.BadLength > 0:
		v.fail("the example does not end where its length says%s", wrongLengthOf(v.program.Bus.Format, v.example.Payload))
	case c.Half > 0:
		v.fail("the example is only the beginning of a frame%s", promised(v.program.Bus.Format, v.example.Payload))
	default:
		v.fail("the example is no frame of this bus")
	}
	return nil, false
}

// wrongChecksOf says of the bytes of a frame which of its check values are wrong.
func wrongChecksOf(format *framing.Format, sent []byte) string {
	plain, pieces, err := format.Dissect(sent)
	if err != nil {
		return err.Error()
	}
	return wrongChecks(plain, pieces)
}

// wrongLengthOf says what is wrong with the length of the bytes of a frame, "" if
// they can be none.
func wrongLengthOf(format *framing.Format, sent []byte) (text string) {
	plain, pieces, err := format.Dissect(sent)
	if err != nil {
		return ""
	}
	if size, d := len(format.Data(plain)), format.DataPart(); size < d.Least || size > d.Most {
		text = fmt.Sprintf(": it has %d bytes of data, and the part data allows %d to %d (most or size)", size, d.Least, d.Most)
	}
	for _, piece := range pieces {
		if is := plain[piece.From:piece.To]; piece.Part.Role == framing.Length && piece.Want != nil && !bytes.Equal(is, piece.Want) {
			text += fmt.Sprintf(": the part %s is % X, and for so many bytes it would be % X", piece.Part.Name, is, piece.Want)
		}
	}
	return text
}

// promised is how long a frame would be by what it says itself.
func promised(format *framing.Format, sent []byte) string {
	size, by := format.Promised(sent)
	if by == "" {
		return ""
	}
	return fmt.Sprintf(": it has %d bytes, and by its part %s it would have %d", len(sent), by, size)
}

// noneChecks notes, once, that of several examples no check value holds: then it is
// the mapping's check that is wrong.
func noneChecks(c *mapping.Compiled, file *document.File) bool {
	if c.Bus.Serial == nil {
		return false
	}
	var wrong []*mapping.Example
	for i := range c.Programs {
		for e := range c.Programs[i].Examples {
			wrong = append(wrong, &c.Programs[i].Examples[e])
			plain, pieces, err := c.Bus.Serial.Format.Dissect(wrong[len(wrong)-1].Payload)
			if err != nil || wrongChecks(plain, pieces) == "" {
				return false
			}
		}
	}
	if len(wrong) < 2 {
		return false
	}
	file.Report(wrong[0].Place, mapping.RuleExample, "the check value of none of the %d examples holds: look at crc, sum and over of the check; of this one %s",
		len(wrong), wrongChecksOf(c.Bus.Serial.Format, wrong[0].Payload))
	return true
}

// question builds the question that the example answers.
func (v *verifier) question() {
	if v.example.Asks == nil {
		return
	}
	asks, err := Question(v.program, v.head.address, nil)
	switch {
	case err != nil:
		v.fail("the question cannot be built: %v", err)
	case !bytes.Equal(asks, v.example.Asks):
		v.fail("the question is built as % X", asks)
	}
}
