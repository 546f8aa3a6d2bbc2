// Package modbus serves registers over Modbus, and never takes a value in.
//
// It has two floors. [Units] turns a request into a response: it holds one
// [Image] for each unit, answers each request from one image only, and knows no
// medium; a [Reader] does the same for the pieces of a client's sweep. [Server] is
// the Modbus/TCP framing around it, in the clear or by MODBUS/TCP Security.
//
// The only functions are 03, 04 and 43/14 (read device identification), so
// nothing that arrives from the network can change anything: every other
// function, each write included, is refused with exception 01. Functions 03 and
// 04 show the same registers: what one of them reads, the other reads too.
//
// Section numbers in this package are those of the MODBUS Application Protocol
// Specification V1.1b3, unless another document is named.
package modbus

import "encoding/binary"

// MaxPDU is the greatest length of a request or response in bytes, from the
// function code on (section 4.1).
const MaxPDU = 253

// maxQuantity is the most registers that one request may read (section 6.3).
const maxQuantity = 125

// The functions that are answered (section 5.1).
const (
	readHoldingRegisters  = 0x03
	readInputRegisters    = 0x04
	encapsulatedInterface = 0x2B
)

// exceptionFlag marks a function code as that of an exception (section 7).
const exceptionFlag = 0x80

// Exception is the reason a request is refused (section 7).
type Exception byte

// The exceptions this package answers. A request is tested for its function
// first, then for length and quantity, then for the address, and last for
// whether the values are known: the order of the specification's state diagrams
// (figures 11 and 22).
const (
	IllegalFunction     Exception = 0x01 // the function is none of 03, 04, 43/14
	IllegalDataAddress  Exception = 0x02 // a register or object that the unit does not show
	IllegalDataValue    Exception = 0x03 // a wrong length or quantity, or a wrong kind of identification
	GatewayTargetFailed Exception = 0x0B // the value, or the whole unit, is not known now
)

// String is the exception's name in the specification, in lower case.
func (e Exception) String() string {
	switch e {
	case IllegalFunction:
		return "illegal function"
	case IllegalDataAddress:
		return "illegal data address"
	case IllegalDataValue:
		return "illegal data value"
	case GatewayTargetFailed:
		return "gateway target device failed to respond"
	}
	return "unknown exception"
}

// answer appends the response to a request to response. A nil image is a unit
// of which nothing is known.
func answer(image *Image, request, response []byte) []byte {
	if len(request) == 0 {
		return response
	}
	answered, refusal := response, IllegalFunction
	switch request[0] {
	case readHoldingRegisters, readInputRegisters:
		answered, refusal = answerRead(image, request, response)
	case encapsulatedInterface:
		answered, refusal = answerEncapsulated(image, request, response)
	}
	if refusal != 0 {
		return append(response, request[0]|exceptionFlag, byte(refusal))
	}
	return answered
}

// readRange is what a request of function 03 or 04 asks for: the function, the
// first address and the quantity make five bytes (sections 6.3 and 6.4). It is not
// sound if the length or the quantity is wrong.
func readRange(request []byte) (from, quantity int, sound bool) {
	if len(request) != 5 || request[0] != readHoldingRegisters && request[0] != readInputRegisters {
		return 0, 0, false
	}
	from = int(binary.BigEndian.Uint16(request[1:]))
	quantity = int(binary.BigEndian.Uint16(request[3:]))
	return from, quantity, quantity >= 1 && quantity <= maxQuantity
}

// answerRead answers functions 03 and 04.
func answerRead(image *Image, request, response []byte) ([]byte, Exception) {
	from, quantity, sound := readRange(request)
	if !sound {
		return nil, IllegalDataValue
	}
	if image == nil {
		return nil, GatewayTargetFailed
	}
	words, refusal := image.read(from, quantity)
	if refusal != 0 {
		return nil, refusal
	}
	response = append(response, request[0], byte(len(words)))
	return append(response, words...), 0
}
