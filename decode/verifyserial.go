package decode

import (
	"bytes"

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
		v.fail("the example's check value does not hold")
	case c.BadLength > 0:
		v.fail("the example does not end where its length says")
	case c.Half > 0:
		v.fail("the example is only the beginning of a frame")
	default:
		v.fail("the example is no frame of this bus")
	}
	return nil, false
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
