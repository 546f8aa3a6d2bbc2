// Package checksum computes the check values that protocols put behind their
// frames: any CRC by the parameters of the Rocksoft model, and the usual sums.
package checksum

import "math/bits"

// CRC is a cyclic redundancy check by its Rocksoft parameters, as the RevEng
// catalogue of parametrised CRC algorithms lists them.
type CRC struct {
	Name       string
	Width      int // bits, 8 to 64
	Poly       uint64
	Init       uint64
	ReflectIn  bool
	ReflectOut bool
	XorOut     uint64
}

// Modbus is the CRC of Modbus RTU (MODBUS over Serial Line V1.02, section
// 6.2.2). It is sent low byte first.
var Modbus = CRC{"CRC-16/MODBUS", 16, 0x8005, 0xFFFF, true, true, 0}

// Catalogue is the CRCs that can be called by name. Source: RevEng catalogue of
// parametrised CRC algorithms, 4 August 2023.
var Catalogue = []CRC{
	Modbus,
	{"CRC-16/XMODEM", 16, 0x1021, 0, false, false, 0},
	{"CRC-16/IBM-3740", 16, 0x1021, 0xFFFF, false, false, 0},
	{"CRC-16/KERMIT", 16, 0x1021, 0, true, true, 0},
	{"CRC-16/IBM-SDLC", 16, 0x1021, 0xFFFF, true, true, 0xFFFF},
	{"CRC-16/GENIBUS", 16, 0x1021, 0xFFFF, false, false, 0xFFFF},
	{"CRC-16/ARC", 16, 0x8005, 0, true, true, 0},
	{"CRC-16/USB", 16, 0x8005, 0xFFFF, true, true, 0xFFFF},
	{"CRC-16/DNP", 16, 0x3D65, 0, true, true, 0xFFFF},
	{"CRC-8/SMBUS", 8, 0x07, 0, false, false, 0},
	{"CRC-8/MAXIM-DOW", 8, 0x31, 0, true, true, 0},
	{"CRC-8/SAE-J1850", 8, 0x1D, 0xFF, false, false, 0xFF},
	{"CRC-8/AUTOSAR", 8, 0x2F, 0xFF, false, false, 0xFF},
	{"CRC-15/CAN", 15, 0x4599, 0, false, false, 0},
	{"CRC-32/ISO-HDLC", 32, 0x04C11DB7, 0xFFFFFFFF, true, true, 0xFFFFFFFF},
	{"CRC-32/ISCSI", 32, 0x1EDC6F41, 0xFFFFFFFF, true, true, 0xFFFFFFFF},
}

// Table is a CRC ready to be computed a byte at a time.
type Table struct {
	crc   CRC
	steps [256]uint64 // the register after a byte, reflected or at the top of 64 bits
}

// Table makes the CRC's table.
func (c CRC) Table() *Table {
	t := &Table{crc: c}
	for i := range t.steps {
		t.steps[i] = c.step(uint64(i))
	}
	return t
}

// step feeds one byte to an empty register.
func (c CRC) step(b uint64) uint64 {
	if c.ReflectIn {
		poly := bits.Reverse64(c.Poly) >> (64 - c.Width)
		for range 8 {
			b = b>>1 ^ poly&-(b&1)
		}
		return b
	}
	poly := c.Poly << (64 - c.Width)
	b <<= 56
	for range 8 {
		b = b<<1 ^ poly&-(b>>63)
	}
	return b
}

// Sum is the check value of data.
func (t *Table) Sum(data []byte) uint64 {
	c := &t.crc
	var register uint64
	if c.ReflectIn {
		register = bits.Reverse64(c.Init) >> (64 - c.Width)
		for _, b := range data {
			register = register>>8 ^ t.steps[byte(register)^b]
		}
	} else {
		register = c.Init << (64 - c.Width)
		for _, b := range data {
			register = register<<8 ^ t.steps[byte(register>>56)^b]
		}
		register >>= 64 - c.Width
	}
	if c.ReflectIn != c.ReflectOut {
		register = bits.Reverse64(register) >> (64 - c.Width)
	}
	return register ^ c.XorOut
}
