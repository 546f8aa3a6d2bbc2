package decode

import (
	"fmt"
	"math"

	"packlink/mapping"
	"packlink/mapping/framing"
)

// Question appends the question of a message for a pack's address, as it stands
// on the line. The error says that the message is not asked for, or that the
// address does not fit.
func Question(p *mapping.Program, address uint32, b []byte) ([]byte, error) {
	if p.Ask == nil || p.Bus == nil {
		return b, fmt.Errorf("message %q is not asked for", p.Name)
	}
	values, err := partValues(p.Bus, p.Ask.Values, address)
	if err != nil {
		return b, err
	}
	var room [64]byte
	data := room[:0]
	for _, d := range p.Ask.Data {
		if d.Address && address > math.MaxUint8 {
			return b, &NoRoomError{"address", fmt.Sprint(address), "a byte of the question"}
		}
		if d.Address {
			d.Value = byte(address)
		}
		data = append(data, d.Value)
	}
	return p.Bus.Format.Append(b, &values, data)
}

// serialFrame appends the frame of a message from a pack's address around a
// payload, as it stands on the line.
func serialFrame(p *mapping.Program, address uint32, payload, b []byte) ([]byte, error) {
	values, err := partValues(p.Bus, p.Frame.Values, address)
	if err != nil {
		return b, err
	}
	return p.Bus.Format.Append(b, &values, payload)
}

// partValues are the values of a frame's parts: those given, then the address,
// then what the parts are written as.
func partValues(bus *mapping.SerialBus, given []mapping.PartValue, address uint32) (values [framing.MaxParts]uint64, err error) {
	for i := range bus.Format.Parts {
		p := &bus.Format.Parts[i]
		values[i] = p.Write
		if i == bus.Address {
			values[i] = uint64(address)
			if p.Size < 4 && address >= 1<<(8*p.Size) {
				return values, &NoRoomError{p.Name, fmt.Sprint(address), fmt.Sprintf("u%d", 8*p.Size)}
			}
		}
	}
	for _, v := range given {
		values[v.Part] = v.Value
	}
	return values, nil
}
