package modbus

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"testing"
)

// TestOnlyReadingSucceeds asks every unit id for every function code, with
// requests of every shape that a function of the specification has.
func TestOnlyReadingSucceeds(t *testing.T) {
	units := fixtureUnits(t)
	shapes := [][]byte{nil, {0x0E, 1, 0}, {0x0E, 4, 0}, {0, 0}, {0, 0, 0, 1}, {0, 107, 0, 3}, {0xFF, 0xFF, 0, 1}, {0, 100, 0xFF, 0},
		{0, 1, 0, 2, 4, 0, 10, 1, 2}, {0, 1, 0, 242, 0, 37}, {0, 3, 0, 6, 0, 14, 0, 3, 6, 0, 255, 0, 255, 0, 255}, make([]byte, 252)}
	for unit := range 256 {
		for function := range 256 {
			for _, shape := range shapes {
				request := append([]byte{byte(function)}, shape...)
				if err := checkAnswer(request, units.Answer(byte(unit), request, nil)); err != nil {
					t.Fatalf("unit %d, request % X: %v", unit, request, err)
				}
			}
		}
	}
}

// checkAnswer tells what no request may ever lead to.
func checkAnswer(request, response []byte) error {
	if len(request) == 0 {
		if len(response) != 0 {
			return fmt.Errorf("no request got the response % X", response)
		}
		return nil
	}
	function := request[0]
	supported := function == 0x03 || function == 0x04 || (function == 0x2B && (len(request) < 2 || request[1] == 0x0E))
	switch {
	case len(response) < 2 || len(response) > 253:
		return fmt.Errorf("the response has %d bytes", len(response))
	case !supported:
		if !bytes.Equal(response, []byte{function | 0x80, 0x01}) {
			return fmt.Errorf("got % X, want exception 01", response)
		}
		return nil
	case response[0] == function|0x80:
		return checkRefusal(response)
	case response[0] != function:
		return fmt.Errorf("a response of function %02X", response[0])
	case function == 0x2B:
		return nil
	}
	return checkRegisters(request, response)
}

// checkRefusal checks the exception to a function that is supported.
func checkRefusal(response []byte) error {
	switch code := response[1]; {
	case len(response) != 2:
		return fmt.Errorf("an exception of %d bytes", len(response))
	case code != 0x02 && code != 0x03 && code != 0x0B:
		return fmt.Errorf("exception %02X", code)
	}
	return nil
}

// checkRegisters checks that as many registers came as were asked for.
func checkRegisters(request, response []byte) error {
	if len(request) != 5 {
		return fmt.Errorf("a request of %d bytes succeeded", len(request))
	}
	quantity := int(binary.BigEndian.Uint16(request[3:]))
	if quantity < 1 || quantity > 125 || len(response) != 2+2*quantity || int(response[1]) != 2*quantity {
		return fmt.Errorf("%d registers were answered with %d bytes", quantity, len(response))
	}
	return nil
}

// TestEveryAddress reads every address in several quantities: a read succeeds if
// all it touches is mapped and known, and with the right values.
func TestEveryAddress(t *testing.T) {
	var words [65536]uint16 // by address, from the blocks below
	var state [65536]Exception
	for address := range state {
		state[address] = IllegalDataAddress
	}
	blocks := []Block{
		{From: 0, Words: make([]uint16, 100)}, {From: 107, Words: make([]uint16, 3)},
		{From: 40000, Words: make([]uint16, 313)}, {From: 40313, Words: make([]uint16, 40), Missing: make([]bool, 40)},
		{From: 65000, Words: make([]uint16, 536)},
	}
	blocks[3].Missing[7] = true
	for _, b := range blocks {
		for i := range b.Words {
			b.Words[i] = uint16(b.From+i) ^ 0x5A5A
			words[b.From+i], state[b.From+i] = b.Words[i], 0
			if b.Missing != nil && b.Missing[i] {
				state[b.From+i] = GatewayTargetFailed
			}
		}
	}
	units := new(Units)
	if err := units.Publish(9, mustImage(t, blocks...)); err != nil {
		t.Fatal(err)
	}
	for _, function := range []byte{readHoldingRegisters, readInputRegisters} {
		for _, quantity := range []int{1, 2, 125} {
			enumerate(t, units, function, quantity, &words, &state)
		}
	}
}

func enumerate(t *testing.T, units *Units, function byte, quantity int, words *[65536]uint16, state *[65536]Exception) {
	response := make([]byte, 0, MaxPDU)
	for address := range 65536 {
		request := []byte{function, byte(address >> 8), byte(address), byte(quantity >> 8), byte(quantity)}
		response = units.Answer(9, request, response[:0])
		want := expected(address, quantity, function, words, state)
		if string(response) != string(want) {
			t.Fatalf("function %d, address %d, quantity %d: got % X, want % X", function, address, quantity, response, want)
		}
	}
}

// expected is the response by the specification's order: address, then processing.
func expected(from, quantity int, function byte, words *[65536]uint16, state *[65536]Exception) []byte {
	response, refusal := []byte{function, byte(2 * quantity)}, Exception(0)
	for address := from; address < from+quantity; address++ {
		if address > 65535 || state[address] == IllegalDataAddress {
			return []byte{function | 0x80, byte(IllegalDataAddress)}
		}
		refusal = max(refusal, state[address])
		response = binary.BigEndian.AppendUint16(response, words[address])
	}
	if refusal != 0 {
		return []byte{function | 0x80, byte(refusal)}
	}
	return response
}
