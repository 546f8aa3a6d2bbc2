package decode

import (
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// Payloads emits the payloads of a message that say what the status knows. A
// payload holds until emit returns. An error of emit, a [*NotKnownError] or a
// [*NoRoomError] ends it; payloads before it have been emitted then.
func Payloads(p *mapping.Program, s *pack.Status, emit func(payload []byte) error) error {
	payload, err := Payload(p, s, nil)
	if err != nil {
		return err
	}
	return emit(payload)
}

// Frames emits the frames of a message that say what the status knows, from the
// address of the status. Each holds until emit returns. The errors are those of
// [Payloads].
func Frames(p *mapping.Program, s *pack.Status, emit func(*transport.Frame) error) error {
	return Payloads(p, s, func(payload []byte) error {
		if p.Frame != nil {
			sent, err := serialFrame(p, s.Address, payload, nil)
			if err != nil {
				return err
			}
			return emit(&transport.Frame{Medium: transport.Serial, Direction: transport.Sent, Data: sent})
		}
		f := transport.Frame{Medium: transport.CAN, Direction: transport.Sent, Data: payload}
		if err := setID(p, s, &f); err != nil {
			return err
		}
		return emit(&f)
	})
}

// classicBytes is the most that a CAN frame holds which is none of CAN FD (ISO
// 11898-1:2015, from memory).
const classicBytes = 8

// setID gives a CAN frame the id of the message, with the address of the
// status.
func setID(p *mapping.Program, s *pack.Status, f *transport.Frame) error {
	if width := p.CAN.AddressWidth; width > 0 && s.Address>>width != 0 {
		return &NoRoomError{Field: "address", Value: pack.Int(int64(s.Address)).String(), Type: "the id"}
	}
	f.ID = p.ID(s.Address)
	if p.CAN.Extended {
		f.Flags |= transport.Extended
	}
	if len(f.Data) > classicBytes {
		f.Flags |= transport.FD
	}
	return nil
}
