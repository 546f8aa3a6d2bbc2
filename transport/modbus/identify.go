package modbus

// readDeviceIdentification is the MEI type of function 43/14 (section 6.21).
const readDeviceIdentification = 0x0E

// The kinds of access to the identification (section 6.21).
const (
	streamBasic    = 0x01
	streamRegular  = 0x02
	streamExtended = 0x03 // no unit here has extended objects: the same as regular
	oneObject      = 0x04
)

// answerEncapsulated answers function 43. Of its MEI types only 14 is known.
func answerEncapsulated(image *Image, request, response []byte) ([]byte, Exception) {
	if len(request) < 2 {
		return nil, IllegalDataValue
	}
	if request[1] != readDeviceIdentification {
		return nil, IllegalFunction
	}
	if len(request) != 4 || request[2] < streamBasic || request[2] > oneObject {
		return nil, IllegalDataValue
	}
	if image == nil {
		return nil, GatewayTargetFailed
	}
	return image.identity.answer(request[2], int(request[3]), response)
}

// answer appends the object asked for, or as many of the stream as fit. A stream
// from an object that is not among those asked for begins at object 0.
func (id *identification) answer(code byte, object int, response []byte) ([]byte, Exception) {
	end := regularObjects
	switch code {
	case oneObject:
		if !id.has(object) {
			return nil, IllegalDataAddress
		}
		end = object + 1
	case streamBasic:
		end = basicObjects
	}
	if object >= end || !id.has(object) {
		object = 0
	}
	return id.stream(code, object, end, response), 0
}

// stream appends the objects from object to before end, until one does not fit:
// then it says that more follow, and from which.
func (id *identification) stream(code byte, object, end int, response []byte) []byte {
	start := len(response)
	response = append(response, encapsulatedInterface, readDeviceIdentification, code, id.conformity, 0x00, 0x00, 0)
	head := response[start:]
	for ; object < end; object++ {
		value := id.values[object]
		if value == "" {
			continue
		}
		if len(response)-start+2+len(value) > MaxPDU {
			head[4], head[5] = 0xFF, byte(object)
			break
		}
		head[6]++
		response = append(response, byte(object), byte(len(value)))
		response = append(response, value...)
		head = response[start:]
	}
	return response
}
