package modbus

import "encoding/binary"

// The sizes of the framing (MODBUS Messaging on TCP/IP V1.0b, section 3.1.3):
// transaction id, protocol id and length are six bytes, which the length does
// not count; the unit id is the seventh.
const (
	uncountedBytes = 6
	headerBytes    = 7
	minLength      = 2 // the unit id and a function code
	maxLength      = 1 + MaxPDU
	maxADU         = uncountedBytes + maxLength
)

// nextADU is the size in bytes of the first message of data, header included;
// 0 as long as it is not whole. After a header that cannot be one nobody knows
// where the next message begins: then it gives the reason to drop the connection,
// as early as the bytes show it.
func nextADU(data []byte) (size int, fault DropReason) {
	for i := 2; i < 4 && i < len(data); i++ {
		if data[i] != 0 {
			return 0, WrongProtocol
		}
	}
	if len(data) < uncountedBytes {
		return 0, notDropped
	}
	length := int(binary.BigEndian.Uint16(data[4:]))
	if length < minLength || length > maxLength {
		return 0, WrongLength
	}
	if len(data) < uncountedBytes+length {
		return 0, notDropped
	}
	return uncountedBytes + length, notDropped
}

// respond writes the response to a whole message into frame, which has room for
// maxADU bytes, and returns what of it is to be sent. A client without a reader is
// refused whatever it asks.
func (s *Server) respond(reader *Reader, message, frame []byte) []byte {
	unit, request, response := message[6], message[headerBytes:], frame[headerBytes:headerBytes]
	if reader == nil {
		response = append(response, request[0]|exceptionFlag, byte(IllegalFunction))
	} else {
		response = reader.Answer(s.addressee(unit), request, response)
	}
	copy(frame, message[:4])
	binary.BigEndian.PutUint16(frame[4:], uint16(1+len(response)))
	frame[6] = unit
	s.tally.count(response)
	return frame[:headerBytes+len(response)]
}

// addressee is the unit that a message is for. On TCP the ids 0 and 255 mean
// the server itself, which is here the first unit (common practice, from memory
// of MODBUS Messaging on TCP/IP V1.0b, section 4.4.2.2).
func (s *Server) addressee(unit byte) byte {
	if unit == 0 || unit == 255 {
		return s.first
	}
	return unit
}
