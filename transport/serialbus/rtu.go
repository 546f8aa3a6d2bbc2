package serialbus

import "encoding/binary"

// The sizes of frames on a serial line (MODBUS over Serial Line V1.02, section
// 2.5.1): address, function, data, two bytes of CRC.
const (
	requestSize   = 8 // of a request for registers
	exceptionSize = 5
	answerAround  = 5 // address, function, number of bytes, CRC
	maxADU        = 256
	exceptionFlag = 0x80
)

// crcTable is the remainder of each byte.
var crcTable = makeCRCTable()

func makeCRCTable() (table [256]uint16) {
	for i := range table {
		crc := uint16(i)
		for range 8 {
			low := crc & 1
			crc >>= 1
			if low != 0 {
				crc ^= 0xA001
			}
		}
		table[i] = crc
	}
	return table
}

// crc16 is the checksum of MODBUS over Serial Line V1.02, section 6.2.2: preload
// FFFF, reflected polynomial A001. It is sent low byte first.
func crc16(data []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, b := range data {
		crc = crc>>8 ^ crcTable[byte(crc)^b]
	}
	return crc
}

// sound tells whether the first size bytes are there and end in their CRC.
func sound(heard []byte, size int) bool {
	return size >= 4 && size <= maxADU && size <= len(heard) &&
		crc16(heard[:size-2]) == binary.LittleEndian.Uint16(heard[size-2:])
}

// shape is what a run of bytes is.
type shape uint8

const (
	noise     shape = iota
	request         // a whole request with a good CRC, or the answer to a write
	answer          // a whole answer that carries values, with a good CRC
	exception       // a whole refusal with a good CRC
	damaged         // an answer of the right length with a wrong CRC
	half            // the beginning of an answer
)

// segment is one run of what was heard.
type segment struct {
	shape    shape
	size     int
	unit     byte
	function byte // without the mark of an exception
	values   int  // of an answer: the number of bytes of values
	code     byte // of an exception: its reason
}

// frameSizes are the sizes of the frames of each function: a request has a fixed
// size, or one that a byte of it counts; an answer that carries values counts them
// in its third byte. The sizes stand in MODBUS Application Protocol V1.1b3,
// section 6; three more bytes are address and CRC.
var frameSizes = map[byte]struct {
	request int  // size of a request, without the bytes it counts
	counted int  // where the request says how many more bytes it has; 0: nowhere
	answers bool // the answer carries values
}{
	0x01: {request: 8, answers: true},
	0x02: {request: 8, answers: true},
	0x03: {request: 8, answers: true},
	0x04: {request: 8, answers: true},
	0x05: {request: 8},
	0x06: {request: 8},
	0x0F: {request: 9, counted: 6},
	0x10: {request: 9, counted: 6},
	0x17: {request: 13, counted: 10, answers: true},
}

// writeAnswerSize is the size of the answer to a write of several values.
const writeAnswerSize = 8

// whole recognises a whole frame with a good CRC at the start of what was heard.
func whole(heard []byte) (s segment, is bool) {
	if len(heard) < 4 {
		return s, false
	}
	s = segment{unit: heard[0], function: heard[1] &^ exceptionFlag}
	sizes, known := frameSizes[s.function]
	switch {
	case !known:
		return s, false
	case heard[1]&exceptionFlag != 0:
		s.shape, s.size, s.code = exception, exceptionSize, heard[2]
		return s, sound(heard, s.size)
	case sizes.answers && sound(heard, answerAround+int(heard[2])):
		s.shape, s.values, s.size = answer, int(heard[2]), answerAround+int(heard[2])
		return s, true
	}
	s.shape, s.size = request, sizes.request
	if sizes.counted > 0 && len(heard) > sizes.counted && sound(heard, sizes.request+int(heard[sizes.counted])) {
		s.size += int(heard[sizes.counted])
		return s, true
	}
	if sizes.counted > 0 {
		s.size = writeAnswerSize
	}
	return s, sound(heard, s.size)
}

// question is a request, and what is known about its answer.
type question struct {
	unit     byte
	function byte
	from     int
	count    int
	answered bool
}

// matches tells whether a frame can be the answer to the question. An answer
// does not name the registers, only their number.
func (q *question) matches(s segment) bool {
	return s.unit == q.unit && s.function == q.function &&
		(s.shape == exception || s.shape == answer && s.values == 2*q.count)
}

// answerSize is the size of the answer to the question.
func (q *question) answerSize() int { return answerAround + 2*q.count }

// find looks for the first whole answer to the question, wherever it begins.
func (q *question) find(heard []byte) (at int, s segment, found bool) {
	for at = range heard {
		if heard[at] != q.unit {
			continue
		}
		if s, is := whole(heard[at:]); is && q.matches(s) {
			return at, s, true
		}
	}
	return 0, segment{}, false
}

// begins tells whether what was heard begins as an answer to the question does,
// up to a third byte.
func (q *question) begins(heard []byte) bool {
	if len(heard) == 0 || heard[0] != q.unit {
		return false
	}
	if len(heard) == 1 {
		return true
	}
	if heard[1] == q.function|exceptionFlag {
		return true
	}
	return heard[1] == q.function && (len(heard) == 2 || int(heard[2]) == 2*q.count)
}

// first cuts off the first run of what was heard, which is not empty and to which
// nothing will be added. Bytes that belong to no frame are one run of noise. With
// a question a damaged or half answer to it is recognised.
func first(heard []byte, q *question) segment {
	for i := range heard {
		s, is := whole(heard[i:])
		if !is && q != nil && q.begins(heard[i:]) {
			s, is = q.spoilt(len(heard)-i, heard[i:]), true
		}
		switch {
		case is && i == 0:
			return s
		case is:
			return segment{shape: noise, size: i}
		}
	}
	return segment{shape: noise, size: len(heard)}
}

// spoilt is an answer to the question that is damaged, or of which only the
// beginning is there.
func (q *question) spoilt(there int, heard []byte) segment {
	size := q.answerSize()
	if there > 1 && heard[1] != q.function {
		size = exceptionSize
	}
	s := segment{shape: damaged, size: size, unit: q.unit, function: q.function}
	if there < size {
		s.shape, s.size = half, there
	}
	return s
}
