package modbus

import (
	"encoding/binary"
	"testing"
)

// hostileQuantities are quantities at and beyond the limits of section 6.3.
var hostileQuantities = []int{0, 1, 125, 126, 0x7FFF, 0xFFFF}

// byDiagram is the exception to a request of five bytes by the order of the state
// diagrams (figures 11 and 22): function, quantity, address, and then whether the
// values are known; 0 is none. state is the last two by address.
func byDiagram(function byte, from, quantity int, state *[65536]Exception) (refusal Exception) {
	switch {
	case function == encapsulatedInterface && from>>8 == readDeviceIdentification:
		return IllegalDataValue // a MEI type that there is, and a wrong length
	case function != readHoldingRegisters && function != readInputRegisters:
		return IllegalFunction
	case quantity < 1 || quantity > 125:
		return IllegalDataValue
	case from+quantity > 65536:
		return IllegalDataAddress
	}
	for _, at := range state[from : from+quantity] {
		if at == IllegalDataAddress {
			return IllegalDataAddress
		}
		refusal = max(refusal, at)
	}
	return refusal
}

// TestEveryRequest sends every function code with every address and hostile quantities
// through the TCP framing: only reads of mapped and known registers succeed, each
// other request gets the exception of the specification, and nothing is written.
func TestEveryRequest(t *testing.T) {
	var state [65536]Exception
	for address := range state {
		state[address] = IllegalDataAddress
	}
	blocks := []Block{
		{From: 0, Words: make([]uint16, 100)}, {From: 40000, Words: make([]uint16, 313), Missing: make([]bool, 313)},
		{From: 65400, Words: make([]uint16, 136)},
	}
	blocks[1].Missing[200] = true
	for _, b := range blocks {
		for i := range b.Words {
			b.Words[i], state[b.From+i] = uint16(b.From+i), 0
		}
	}
	state[40200] = GatewayTargetFailed
	image, units := mustImage(t, blocks...), new(Units)
	server, before := &Server{units: units, first: 9}, registersOf(image)
	reader, frame := units.NewReader(), make([]byte, maxADU)
	message := []byte{0xAB, 0xCD, 0, 0, 0, 6, 9, 0, 0, 0, 0, 0}
	succeeded := 0
	for function := range 256 {
		if err := units.Publish(9, image); err != nil { // one of long ago would not be shown any more
			t.Fatal(err)
		}
		message[7] = byte(function)
		for from := range 65536 {
			binary.BigEndian.PutUint16(message[8:], uint16(from))
			for _, quantity := range hostileQuantities {
				if function != 3 && function != 4 && quantity != hostileQuantities[from%6] {
					continue // one in turn: no other function looks at it
				}
				binary.BigEndian.PutUint16(message[10:], uint16(quantity))
				response := server.respond(reader, message, frame)
				want := byDiagram(byte(function), from, quantity, &state)
				if want == 0 {
					succeeded++
				}
				if !isResponse(response, byte(function), from, quantity, want) {
					t.Fatalf("% X: got % X, want exception %02X (00: none)", message, response, byte(want))
				}
			}
		}
	}
	if units.image(9) != image || registersOf(image) != before {
		t.Error("something was written")
	}
	if want := 2 * (100 + 312 + 136 + (200 - 124) + (136 - 124)); succeeded != want {
		t.Errorf("%d reads succeeded, want %d", succeeded, want)
	}
}

// isResponse checks a whole response; the registers hold their address.
func isResponse(response []byte, function byte, from, quantity int, refusal Exception) bool {
	length := 3
	if refusal == 0 {
		length = 3 + 2*quantity
	}
	if len(response) != 6+length || response[0] != 0xAB || response[1] != 0xCD || response[2] != 0 || response[3] != 0 ||
		int(binary.BigEndian.Uint16(response[4:])) != length || response[6] != 9 {
		return false
	}
	if refusal != 0 {
		return response[7] == function|0x80 && response[8] == byte(refusal)
	}
	for i := range quantity {
		if int(binary.BigEndian.Uint16(response[9+2*i:])) != from+i {
			return false
		}
	}
	return response[7] == function && int(response[8]) == 2*quantity
}

// registersOf is a copy of all that an image shows.
func registersOf(image *Image) (all string) {
	for _, s := range image.spans {
		all += string(s.bytes)
	}
	return all
}
