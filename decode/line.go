package decode

import (
	"encoding/binary"

	"packlink/mapping/checksum"
)

// longestADU is the longest Modbus RTU frame (MODBUS over Serial Line V1.02,
// section 2.5.1: 256 bytes).
const longestADU = 256

// answerWithin is how long, in nanoseconds, a request waits for its answer. It
// is generous: adapters hold bytes back, and the time only bounds what an old
// request can be blamed for.
const answerWithin = 5_000_000_000

var crcModbus = checksum.Modbus.Table()

// LineCounters count what was heard on a serial line. Where frames are made of
// parts, every frame of a message is an answer.
type LineCounters struct {
	Bytes       uint64 // all bytes
	Noise       uint64 // bytes of no frame
	Requests    uint64 // questions to any unit
	Repeated    uint64 // of them, the same as the one before, which had no answer
	Unanswered  uint64 // questions that no answer was heard to
	Answers     uint64 // answers with data that belong to a question
	Refusals    uint64 // answers that are exceptions
	Unasked     uint64 // answers without a question, or to another one
	BadChecksum uint64 // whole frames with a wrong CRC
	BadLength   uint64 // frames made of parts whose length cannot be, or that do not end where it says
	Half        uint64 // beginnings of frames whose rest is missing
	Other       uint64 // frames of other functions, or of no message
}

// question is a request to read registers.
type question struct {
	unit, function byte
	from, count    int
	at             int64
}

// answer is the registers that a question got.
type answer struct {
	question
	data []byte // two bytes a register; holds until the line goes on
}

// line finds Modbus RTU frames in a stream of bytes by their structure and
// checksum, and pairs each answer with its question, so that registers get
// their addresses. Frames are found where they end, byte by byte: the result
// does not depend on how an adapter tore or glued the bytes. Time gaps do not
// count, as adapters make and swallow them.
type line struct {
	bytes   [longestADU]byte
	size    int
	open    question // the last question, if it still waits
	waiting bool
	counts  LineCounters
	found   func(*answer, int64)
}

// feed takes bytes that came at a time.
func (l *line) feed(data []byte, at int64) {
	l.counts.Bytes += uint64(len(data))
	for _, b := range data {
		if l.size == longestADU {
			l.drop(1)
		}
		l.bytes[l.size] = b
		l.size++
		l.search(at)
	}
}

// lost forgets the bytes and the question before a gap in the stream.
func (l *line) lost() {
	l.drop(l.size)
	l.giveUp()
}

// search looks for a frame that ends at the newest byte.
func (l *line) search(at int64) {
	for start := 0; start+4 <= l.size; start++ {
		frame := l.bytes[start:l.size]
		if frameLength(frame) == len(frame) && sound(frame) {
			l.drop(start)
			l.take(l.bytes[:l.size], at)
			l.size = 0
			return
		}
	}
}

// sound tells whether a frame's CRC holds. It is sent low byte first.
func sound(frame []byte) bool {
	body := len(frame) - 2
	return crcModbus.Sum(frame[:body]) == uint64(binary.LittleEndian.Uint16(frame[body:]))
}

// drop leaves off bytes at the front that belong to no frame, and says in the
// counters what they look like: a frame with a wrong checksum, the beginning of
// one, or noise.
func (l *line) drop(n int) {
	if n == 0 {
		return
	}
	dropped := l.bytes[:n]
	switch length := frameLength(dropped); {
	case length >= 5 && length <= n && l.expects(dropped):
		l.counts.BadChecksum++
	case length > n && l.expects(dropped):
		l.counts.Half++
	default:
		l.counts.Noise += uint64(n)
	}
	l.size = copy(l.bytes[:], l.bytes[n:l.size])
}

// expects tells whether bytes begin like an answer to the open question.
func (l *line) expects(dropped []byte) bool {
	return l.waiting && len(dropped) >= 2 && dropped[0] == l.open.unit && dropped[1]&0x7F == l.open.function
}

// take reads one frame.
func (l *line) take(frame []byte, at int64) {
	function := frame[1]
	switch {
	case function&0x80 != 0:
		l.takeRefusal(frame)
	case function != readHolding && function != readInput:
		l.counts.Other++
		l.giveUp()
	case isQuestion(frame):
		l.takeQuestion(frame, at)
	default:
		l.takeAnswer(frame, at)
	}
}

func (l *line) takeQuestion(frame []byte, at int64) {
	q := question{frame[0], frame[1], int(binary.BigEndian.Uint16(frame[2:])), int(binary.BigEndian.Uint16(frame[4:])), at}
	l.counts.Requests++
	if l.waiting && q.unit == l.open.unit && q.function == l.open.function && q.from == l.open.from && q.count == l.open.count {
		l.counts.Repeated++
	}
	l.giveUp()
	l.open, l.waiting = q, true
}

func (l *line) takeAnswer(frame []byte, at int64) {
	data := frame[3 : len(frame)-2]
	if !l.waiting || frame[0] != l.open.unit || frame[1] != l.open.function || len(data) != 2*l.open.count || at-l.open.at > answerWithin {
		l.counts.Unasked++
		return
	}
	l.waiting = false
	l.counts.Answers++
	l.found(&answer{l.open, data}, at)
}

func (l *line) takeRefusal(frame []byte) {
	if l.waiting && frame[0] == l.open.unit && frame[1]&0x7F == l.open.function {
		l.waiting = false
		l.counts.Refusals++
		return
	}
	l.counts.Unasked++
}

// giveUp ends the wait for an answer.
func (l *line) giveUp() {
	if l.waiting {
		l.counts.Unanswered++
	}
	l.waiting = false
}
