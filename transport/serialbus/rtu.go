package serialbus

import "encoding/binary"

// The sizes of frames on a serial line (MODBUS over Serial Line V1.02, section
// 2.5.1): address, function, data, two bytes of CRC.
const (
	requestSize   = 8 // of a request for registers
	exceptionSize = 5
	answerAround  = 5 // address, function, number of bytes, CRC
	valueCount    = 2 // which byte of an answer counts its values
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
	request         // a whole request with a good CRC, or an answer without values
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

// frameSizes are the sizes of the frames of each function: fixed, or so many bytes
// and those that one of them counts. The sizes stand in MODBUS Application Protocol
// V1.1b3, section 6; three more bytes are address and CRC. The answer to function 2B
// has no size that its beginning tells.
var frameSizes = map[byte]struct{ request, answer frameSize }{
	0x01: {frameSize{8, 0}, frameSize{5, 2}},
	0x02: {frameSize{8, 0}, frameSize{5, 2}},
	0x03: {frameSize{8, 0}, frameSize{5, 2}},
	0x04: {frameSize{8, 0}, frameSize{5, 2}},
	0x05: {frameSize{8, 0}, frameSize{8, 0}},
	0x06: {frameSize{8, 0}, frameSize{8, 0}},
	0x07: {frameSize{4, 0}, frameSize{5, 0}},
	0x08: {frameSize{8, 0}, frameSize{8, 0}},
	0x0B: {frameSize{4, 0}, frameSize{8, 0}},
	0x0C: {frameSize{4, 0}, frameSize{5, 2}},
	0x0F: {frameSize{9, 6}, frameSize{8, 0}},
	0x10: {frameSize{9, 6}, frameSize{8, 0}},
	0x11: {frameSize{4, 0}, frameSize{5, 2}},
	0x14: {frameSize{5, 2}, frameSize{5, 2}},
	0x15: {frameSize{5, 2}, frameSize{5, 2}},
	0x16: {frameSize{10, 0}, frameSize{10, 0}},
	0x17: {frameSize{13, 10}, frameSize{5, 2}},
	0x18: {frameSize{6, 0}, frameSize{6, 3}},
	0x2B: {request: frameSize{7, 0}},
}

// frameSize is how long a frame is.
type frameSize struct {
	fixed   int // bytes that are always there; 0: the size is not known
	counted int // which byte counts the others; 0: there are no others
}

// of is the size of the frame that begins here. As long as the byte that counts is not
// there, it is a size that shows that more must come.
func (f frameSize) of(heard []byte) int {
	switch {
	case f.counted == 0:
		return f.fixed
	case len(heard) <= f.counted:
		return f.counted + 1
	}
	return f.fixed + int(heard[f.counted])
}

// whole recognises a whole frame with a good CRC at the start of what was heard.
func whole(heard []byte) (s segment, is bool) {
	if len(heard) < 4 {
		return s, false
	}
	s = segment{unit: heard[0], function: heard[1] &^ exceptionFlag}
	sizes, known := frameSizes[s.function]
	if !known {
		return s, false
	}
	if heard[1]&exceptionFlag != 0 {
		s.shape, s.size, s.code = exception, exceptionSize, heard[2]
		return s, sound(heard, s.size)
	}
	if size := sizes.answer.of(heard); sizes.answer.counted == valueCount && sound(heard, size) {
		s.shape, s.values, s.size = answer, int(heard[valueCount]), size
		return s, true
	}
	s.shape = request
	for _, size := range []int{sizes.request.of(heard), sizes.answer.of(heard)} {
		if sound(heard, size) {
			s.size = size
			return s, true
		}
	}
	return s, false
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
