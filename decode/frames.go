package decode

import (
	"bytes"
	"fmt"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// payloads emits the payloads of [Writer.Frames]. A payload holds until emit
// returns. The rolling counters begin at *written, which goes up by one with each.
func payloads(p *mapping.Program, s *pack.Status, written *uint64, emit func(payload []byte) error) error {
	var b []byte
	for page := range pages(p, s) {
		w := newWriting(p, s, nil, rolled(p, *written))
		if p.PageSlot >= 0 {
			w.name(p.PageSlot, int64(p.PageFirst+page))
		}
		payload, err := w.payload(p, p.MaxBytes, b[:0])
		if err == nil {
			err = emit(payload)
			*written++
		}
		if err != nil {
			return err
		}
		b = payload
	}
	return nil
}

// pages is how many payloads it takes to say what the status knows of the lists
// that come in parts; 1 if it knows nothing of them.
func pages(p *mapping.Program, s *pack.Status) int {
	most := 1
	for i := range p.Body.All {
		if op := &p.Body.All[i]; op.PageSlot >= 0 {
			elements := len(s.Elements(op.Quantity)) - op.Target.Element
			most = max(most, min((elements+op.Repeat-1)/op.Repeat, op.Pages))
		}
	}
	return most
}

// Carry emits the frames that carry a payload of a message from a pack's
// address. Each holds until emit returns. The sequence tells a fast packet from
// the one before; only its lowest three bits count. The error is that of emit, or
// a [*NoRoomError] for an address that does not fit the id.
func Carry(p *mapping.Program, address uint32, sequence byte, payload []byte, emit func(*transport.Frame) error) error {
	if p.Frame != nil {
		sent, err := serialFrame(p, address, payload, nil)
		if err != nil {
			return err
		}
		return emit(&transport.Frame{Medium: transport.Serial, Direction: transport.Sent, Data: sent})
	}
	f, err := frameOf(p, address, p.ID(address))
	if err != nil {
		return err
	}
	f.Data = payload
	if p.Transfer == mapping.OneFrame && len(payload) > mapping.ClassicBytes {
		f.Flags |= transport.FD
	}
	return split(p.Transfer, sequence, &f, emit)
}

// QuestionFrame is the frame that asks the pack at an address for a message, on a
// CAN bus or a serial line. The error says that the message is not asked for, or
// that the address does not fit, or is none that a node of SAE J1939 can have: a
// [*NoRoomError].
func QuestionFrame(p *mapping.Program, address uint32) (f transport.Frame, err error) {
	if p.CAN == nil || p.CAN.Ask == nil {
		f = transport.Frame{Medium: transport.Serial, Direction: transport.Sent}
		f.Data, err = Question(p, address, nil)
		return f, err
	}
	if p.CAN.HasPGN && p.CAN.AddressWidth > 0 && address > mapping.MaxNode {
		return f, &NoRoomError{Field: "address", Value: pack.Int(int64(address)).String(), Type: fmt.Sprintf("a node of SAE J1939, 0 to %d", mapping.MaxNode)}
	}
	if f, err = frameOf(p, address, p.CAN.Asked(address)); err != nil {
		return f, err
	}
	f.Data = bytes.Clone(p.CAN.Ask.Payload)
	if p.Transfer != mapping.ISOTP { // however else the answer travels, a question is one frame
		return f, nil
	}
	err = split(p.Transfer, 0, &f, func(only *transport.Frame) error {
		f.Data = bytes.Clone(only.Data)
		return nil
	})
	return f, err
}

// frameOf is an empty frame with an id in which the address stands, as far as the
// message's has one.
func frameOf(p *mapping.Program, address, id uint32) (f transport.Frame, err error) {
	if width := p.CAN.AddressWidth; width > 0 && address>>width != 0 {
		return f, &NoRoomError{Field: "address", Value: pack.Int(int64(address)).String(), Type: "the id"}
	}
	f = transport.Frame{Medium: transport.CAN, Direction: transport.Sent, ID: id}
	if p.CAN.Extended {
		f.Flags = transport.Extended
	}
	return f, nil
}
