package canbus

import "go.einride.tech/can/pkg/socketcan"

// stateReports are the states of a state line, as an error frame says them.
var stateReports = map[byte]struct {
	class  socketcan.ErrorClass
	detail socketcan.ControllerError
}{
	'a': {socketcan.ErrorClassController, socketcan.ControllerErrorActive},
	'w': {socketcan.ErrorClassController, warnings},
	'p': {socketcan.ErrorClassController, passives},
	'b': {socketcan.ErrorClassBusOff, 0},
}

// stateLength is the length of a state line: s, the state, two counters of three
// digits, the receive counter first (Linux, slcan-core.c: sa057033, sb256256).
const stateLength = 8

// parseState reads a state line. Counters that need more than a byte, as at
// bus-off, do not fit an error frame and are left out.
func parseState(line []byte) record {
	if len(line) != stateLength {
		return record{}
	}
	state, known := stateReports[line[1]]
	rx, rxOK := decimal(line[2:5])
	tx, txOK := decimal(line[5:8])
	if !known || !rxOK || !txOK {
		return record{}
	}
	data := [classicData]byte{detailController: byte(state.detail)}
	class := state.class
	if rx <= 0xFF && tx <= 0xFF {
		class |= errorCounters
		data[detailTxCounter], data[detailRxCounter] = byte(tx), byte(rx)
	}
	return report(class, data)
}

func decimal(digits []byte) (n int, ok bool) {
	for _, c := range digits {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = 10*n + int(c-'0')
	}
	return n, true
}

// errorCodes are the letters of an error line, as an error frame says them
// (Linux, slcan-core.c; linux/can/error.h).
var errorCodes = map[byte]struct {
	class socketcan.ErrorClass
	at    int // where in the data
	value byte
}{
	'a': {socketcan.ErrorClassNoAck, detailLocation, byte(socketcan.ProtocolViolationErrorLocationACKSlot)},
	'b': {busFault, detailProtocol, byte(socketcan.ProtocolViolationErrorBit0)},
	'B': {busFault, detailProtocol, byte(socketcan.ProtocolViolationErrorBit1)},
	'c': {busFault, detailLocation, byte(socketcan.ProtocolViolationErrorLocationCRCSequence)},
	'f': {busFault, detailProtocol, byte(socketcan.ProtocolViolationErrorFrameFormat)},
	'o': {socketcan.ErrorClassController, detailController, byte(socketcan.ControllerErrorRxBufferOverflow)},
	'O': {socketcan.ErrorClassController, detailController, byte(socketcan.ControllerErrorTxBufferOverflow)},
	's': {busFault, detailProtocol, byte(socketcan.ProtocolViolationErrorBitStuffing)},
}

// busFault is the class of an error in the bits on the bus.
const busFault = socketcan.ErrorClassProtocolViolation | socketcan.ErrorClassBusError

// parseErrors reads an error line: e, how many codes, the codes (e1a, e3bcO).
func parseErrors(line []byte) record {
	if len(line) < 3 || int(line[1]-'0') != len(line)-2 {
		return record{}
	}
	var class socketcan.ErrorClass
	var data [classicData]byte
	for _, letter := range line[2:] {
		code, known := errorCodes[letter]
		if !known {
			return record{}
		}
		class |= code.class
		data[code.at] |= code.value
	}
	return report(class, data)
}

// The bits of the answer to F (from memory of common practice).
const (
	statusRxFull    = 1 << 0
	statusTxFull    = 1 << 1
	statusWarning   = 1 << 2
	statusOverrun   = 1 << 3
	statusPassive   = 1 << 5
	statusBusErrors = 1 << 7
)

// parseStatus reads the answer to F: F and two digits.
func parseStatus(line []byte) record {
	status, ok := hexNumber(line[1:])
	if len(line) != 3 || !ok {
		return record{}
	}
	detail := socketcan.ControllerErrorActive
	switch {
	case status&statusPassive != 0:
		detail = passives
	case status&statusWarning != 0:
		detail = warnings
	}
	if status&(statusRxFull|statusOverrun) != 0 {
		detail |= socketcan.ControllerErrorRxBufferOverflow
	}
	if status&statusTxFull != 0 {
		detail |= socketcan.ControllerErrorTxBufferOverflow
	}
	class := socketcan.ErrorClassController
	if status&statusBusErrors != 0 {
		class |= socketcan.ErrorClassBusError
	}
	return report(class, [classicData]byte{detailController: byte(detail)})
}
