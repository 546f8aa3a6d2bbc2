package canbus

import (
	"go.einride.tech/can"
	"go.einride.tech/can/pkg/socketcan"

	"packlink/transport"
)

// recordKind is what a line from a serial-line CAN adapter is.
type recordKind uint8

const (
	damagedRecord recordKind = iota // nothing that an adapter says
	frameRecord                     // a frame
	reportRecord                    // a state or an error of the controller
	doneRecord                      // a command was carried out
	refusedRecord                   // a command was refused
	sentRecord                      // a frame was taken for sending
	textRecord                      // a version or serial number
)

// record is what one line says.
type record struct {
	kind    recordKind
	flags   transport.Flags
	id      uint32
	length  int // of the data
	data    [classicData]byte
	stamped bool
	stamp   uint16 // milliseconds of the adapter's clock, 0 to 59999
}

// parseLine reads a line without its end (Linux, drivers/net/can/slcan/slcan-core.c;
// F, V, v, N, z and Z from memory of common practice).
func parseLine(line []byte) record {
	if len(line) == 0 {
		return record{kind: doneRecord}
	}
	switch line[0] {
	case 't', 'r':
		return parseFrame(line, 3, can.MaxID, 0)
	case 'T', 'R':
		return parseFrame(line, 8, can.MaxExtendedID, transport.Extended)
	case 's':
		return parseState(line)
	case 'e':
		return parseErrors(line)
	case 'F':
		return parseStatus(line)
	case 'z', 'Z':
		if len(line) == 1 {
			return record{kind: sentRecord}
		}
	case 'V', 'v', 'N':
		return record{kind: textRecord}
	}
	return record{}
}

// stampDigits is the length of a time stamp behind a frame, and stampRange the
// first number that is none.
const (
	stampDigits = 4
	stampRange  = 60000
)

// parseFrame reads a data frame or remote request with an id of so many digits.
func parseFrame(line []byte, idDigits int, maxID uint32, flags transport.Flags) record {
	r := record{kind: frameRecord, flags: flags}
	if len(line) < 1+idDigits+1 {
		return record{}
	}
	id, ok := hexNumber(line[1 : 1+idDigits])
	length := int(line[1+idDigits]) - '0'
	if !ok || id > maxID || length < 0 || length > classicData {
		return record{}
	}
	r.id = id
	line, isRemote := line[1+idDigits+1:], line[0]|0x20 == 'r'
	if isRemote {
		r.flags |= transport.Remote
		length = 0
	}
	if len(line) < 2*length {
		return record{}
	}
	for r.length < length {
		value, ok := hexNumber(line[2*r.length : 2*r.length+2])
		if !ok {
			return record{}
		}
		r.data[r.length] = byte(value)
		r.length++
	}
	return r.withStamp(line[2*length:])
}

// withStamp is the record with the time stamp that may follow its frame.
func (r record) withStamp(digits []byte) record {
	if len(digits) == 0 {
		return r
	}
	value, ok := hexNumber(digits)
	if len(digits) != stampDigits || !ok || value >= stampRange {
		return record{}
	}
	r.stamped, r.stamp = true, uint16(value)
	return r
}

// hexNumber reads up to eight hexadecimal digits.
func hexNumber(digits []byte) (n uint32, ok bool) {
	for _, c := range digits {
		switch {
		case c >= '0' && c <= '9':
			c -= '0'
		case c|0x20 >= 'a' && c|0x20 <= 'f':
			c = c | 0x20 - 'a' + 10
		default:
			return 0, false
		}
		n = n<<4 | uint32(c)
	}
	return n, true
}

// report is a record that says what an error frame of the kernel says.
func report(class socketcan.ErrorClass, data [classicData]byte) record {
	return record{kind: reportRecord, flags: transport.BusError, id: uint32(class), length: detailLength, data: data}
}
