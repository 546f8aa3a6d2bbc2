package decode

import "encoding/binary"

// Function codes that read registers (MODBUS Application Protocol V1.1b3,
// sections 6.3 and 6.4), and others whose length can be told.
const (
	readCoils      = 1
	readInputs     = 2
	readHolding    = 3
	readInput      = 4
	writeCoil      = 5
	writeRegister  = 6
	diagnostics    = 8
	writeCoils     = 15
	writeRegisters = 16
	readAndWrite   = 23
)

// Most registers that one request can read (section 6.3).
const mostRegisters = 125

// frameLength is how long the frame that begins here must be, or 0 if no frame
// begins like this, or so far as the bytes tell. Questions and answers of the
// same function are told apart by the bytes that a question has: they are eight,
// and an answer of eight bytes would hold an odd count.
func frameLength(b []byte) int {
	if len(b) < 4 || b[0] > 247 {
		return 0
	}
	switch function := b[1]; {
	case function&0x80 != 0:
		return refusalLength(b)
	case function == readHolding || function == readInput:
		return readLength(b)
	case function == readCoils || function == readInputs:
		return bitsLength(b)
	case function == writeCoil || function == writeRegister || function == diagnostics:
		return 8
	case function == writeCoils || function == writeRegisters:
		return writeLength(b)
	case function == readAndWrite && len(b) >= 11 && int(b[10]) == 2*int(binary.BigEndian.Uint16(b[8:])):
		return 13 + int(b[10])
	case function == readAndWrite:
		return countedLength(b)
	}
	return 0
}

func refusalLength(b []byte) int {
	if code := b[2]; code == 0 || code > 11 {
		return 0
	}
	return 5
}

// readLength is that of a question or an answer of a register read. An answer
// names an even count of bytes, at least 2.
func readLength(b []byte) int {
	if len(b) == 8 && isQuestion(b) {
		return 8
	}
	return countedLength(b)
}

func countedLength(b []byte) int {
	if count := int(b[2]); count >= 2 && count%2 == 0 && count <= 2*mostRegisters {
		return 5 + count
	}
	return 0
}

// isQuestion tells whether a register read's frame of eight bytes is a
// question: it asks for 1 to 125 registers that there are.
func isQuestion(b []byte) bool {
	if len(b) != 8 {
		return false
	}
	count := int(binary.BigEndian.Uint16(b[4:]))
	return count >= 1 && count <= mostRegisters && int(binary.BigEndian.Uint16(b[2:]))+count <= 1<<16
}

func bitsLength(b []byte) int {
	if len(b) == 8 && binary.BigEndian.Uint16(b[4:]) >= 1 && binary.BigEndian.Uint16(b[4:]) <= 2000 {
		return 8
	}
	return 5 + int(b[2])
}

// writeLength is that of a write of many, or of its confirmation, which has
// eight bytes.
func writeLength(b []byte) int {
	if len(b) > 8 && b[6] > 0 {
		return 9 + int(b[6])
	}
	return 8
}
