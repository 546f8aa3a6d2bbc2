package canbus

import (
	"encoding/binary"

	"packlink/transport"
)

// FrameBits is the exact length of a frame on the bus, in bits: with the stuff
// bits that its content makes necessary, and with the three bits of space that
// follow it. It is not known, and ok is false, for CAN FD frames and for error
// reports. A remote request is taken to ask for no data, as a [transport.Frame]
// does not hold how much it asks for. It takes an acknowledged frame without
// error (ISO 11898-1, data link layer).
func FrameBits(f *transport.Frame) (bits int, ok bool) {
	if f.Flags&(transport.FD|transport.BusError) != 0 || len(f.Data) > classicData {
		return 0, false
	}
	var content [stuffedBytes]byte
	n := layOut(&content, f)
	bits = 8*n - leadBits(f) - 1 + stuffBits(content[:n], f) + unstuffedBits
	return bits, true
}

const (
	// stuffedBytes has room for the stuffed part of the longest frame: one bit
	// before it, 39 to the data, the data, the CRC of 15 bits, one bit after it.
	stuffedBytes = 5 + classicData + 2
	// unstuffedBits are the CRC delimiter, the acknowledge slot and its delimiter,
	// the end of frame, and the space between frames.
	unstuffedBits = 1 + 1 + 1 + 7 + 3
)

// leadBits is how many bits before the start of frame make the data begin on a
// whole byte.
func leadBits(f *transport.Frame) int {
	if f.Flags&transport.Extended != 0 {
		return 1
	}
	return 5
}

// layOut writes a frame from its start to the CRC, with zeros before it and one
// zero behind it, and gives how many bytes that takes. Zeros before the start do
// not change the CRC.
func layOut(b *[stuffedBytes]byte, f *transport.Frame) (n int) {
	remote := uint64(f.Flags & transport.Remote / transport.Remote)
	length := uint64(len(f.Data))
	var head uint64 // start of frame (0), id, remote bit, id extension, reserved bits, length
	if f.Flags&transport.Extended != 0 {
		const substituteAndExtension = 3
		head = uint64(f.ID>>18)<<27 | substituteAndExtension<<25 | uint64(f.ID&0x3FFFF)<<7 | remote<<6 | length
		n = 5
	} else {
		head = uint64(f.ID)<<7 | remote<<6 | length
		n = 3
	}
	var word [8]byte
	binary.BigEndian.PutUint64(word[:], head)
	copy(b[:n], word[8-n:])
	n += copy(b[n:], f.Data)
	binary.BigEndian.PutUint16(b[n:], crc15(b[:n])<<1)
	return n + 2
}

// crcPolynomial is that of CAN (ISO 11898-1): x^15+x^14+x^10+x^8+x^7+x^4+x^3+1.
const crcPolynomial = 0x4599

// crcTable has the CRC of each byte.
var crcTable = makeCRCTable()

func makeCRCTable() (table [256]uint16) {
	for i := range table {
		crc := uint16(i) << 7
		for range 8 {
			crc <<= 1
			if crc&0x8000 != 0 {
				crc ^= 0x8000 | crcPolynomial
			}
		}
		table[i] = crc
	}
	return table
}

// crc15 is the CRC of whole bytes; leading zeros do not matter.
func crc15(b []byte) (crc uint16) {
	for _, value := range b {
		crc = crc<<8&0x7FFF ^ crcTable[byte(crc>>7)^value]
	}
	return crc
}
