package framing

import (
	"fmt"

	"packlink/mapping/checksum"
)

// crc is a CRC of the catalogue.
func crc(name string) *checksum.Table {
	for _, c := range checksum.Catalogue {
		if c.Name == name {
			return c.Table()
		}
	}
	panic("there is no " + name)
}

// layouts have one of each way to tell where a frame ends, and of each coding.
var layouts = map[string]Layout{
	"counted": {Parts: []Part{
		{Name: "start", Role: Constant, Size: 1, Bytes: []byte{0xDD}},
		{Name: "kind", Role: Value, Size: 1},
		{Name: "size", Role: Length, Size: 1, From: 3, To: 3, Halves: 2},
		{Name: "data", Role: Data, Most: 40},
		{Name: "check", Role: Check, Size: 4, From: 1, To: 3, CRC: crc("CRC-32/ISO-HDLC")},
		{Name: "end", Role: Constant, Size: 1, Bytes: []byte{0x77}},
	}},
	"counted in words, from elsewhere": {Parts: []Part{
		{Name: "start", Role: Constant, Size: 2, Bytes: []byte{0x55, 0xAA}},
		{Name: "kind", Role: Value, Size: 3, Little: true},
		{Name: "size", Role: Length, Size: 2, Little: true, From: 1, To: 5, Halves: 4, Plus: -3, Guard: true},
		{Name: "odd", Role: Value, Size: 1},
		{Name: "data", Role: Data, Most: 300},
		{Name: "check", Role: Check, Size: 4, Little: true, From: 0, To: 4, CRC: crc("CRC-32/ISCSI")},
	}},
	"fixed": {Parts: []Part{
		{Name: "kind", Role: Value, Size: 2},
		{Name: "data", Role: Data, Size: 8, Least: 8, Most: 8},
		{Name: "check", Role: Check, Size: 4, From: 0, To: 1, CRC: crc("CRC-32/ISO-HDLC")},
	}},
	"open": {Parts: []Part{
		{Name: "start", Role: Constant, Size: 1, Bytes: []byte{'('}},
		{Name: "kind", Role: Value, Size: 1},
		{Name: "data", Role: Data, Least: 1, Most: 60},
		{Name: "check", Role: Check, Size: 4, From: 1, To: 2, CRC: crc("CRC-32/ISO-HDLC")},
		{Name: "end", Role: Constant, Size: 1, Bytes: []byte{')'}},
	}},
	"ascii-hex": telecom(),
	"modbus-ascii": {Coding: ASCIIHex, Parts: []Part{
		{Name: "start", Role: Constant, Size: 1, Bytes: []byte{':'}},
		{Name: "unit", Role: Value, Size: 1},
		{Name: "function", Role: Value, Size: 1},
		{Name: "data", Role: Data, Most: 252},
		{Name: "lrc", Role: Check, Size: 1, From: 1, To: 3, Sum: checksum.Negated},
		{Name: "end", Role: Constant, Size: 2, Bytes: []byte("\r\n")},
	}},
	"flags": {Coding: Escaped, Escapes: []Escape{{0x7E, [2]byte{0x7D, 0x5E}}, {0x7D, [2]byte{0x7D, 0x5D}}}, Parts: []Part{
		{Name: "start", Role: Constant, Size: 1, Bytes: []byte{0x7E}},
		{Name: "kind", Role: Value, Size: 1},
		{Name: "data", Role: Data, Most: 30},
		{Name: "check", Role: Check, Size: 4, Little: true, From: 1, To: 2, CRC: crc("CRC-32/ISO-HDLC")},
		{Name: "end", Role: Constant, Size: 1, Bytes: []byte{0x7E}},
	}},
	"start and end escaped": {Coding: Escaped, Escapes: []Escape{{0xF0, [2]byte{0xF2, 0x00}}, {0xF1, [2]byte{0xF2, 0x01}}, {0xF2, [2]byte{0xF2, 0x02}}}, Parts: []Part{
		{Name: "start", Role: Constant, Size: 1, Bytes: []byte{0xF0}},
		{Name: "size", Role: Length, Size: 1, From: 1, To: 3, Halves: 2, Plus: 1},
		{Name: "data", Role: Data, Most: 100},
		{Name: "check", Role: Check, Size: 4, From: 1, To: 2, CRC: crc("CRC-32/ISO-HDLC")},
		{Name: "end", Role: Constant, Size: 1, Bytes: []byte{0xF1}},
	}},
}

// telecom is the frame of the YD/T 1363.3 family, as public implementations
// agree on it; the standard itself was not available.
func telecom() Layout {
	return Layout{Coding: ASCIIHex, Parts: []Part{
		{Name: "start", Role: Constant, Size: 1, Bytes: []byte{'~'}},
		{Name: "version", Role: Value, Size: 1},
		{Name: "address", Role: Value, Size: 1},
		{Name: "device", Role: Value, Size: 1},
		{Name: "command", Role: Value, Size: 1},
		{Name: "length", Role: Length, Size: 2, From: 6, To: 6, Halves: 1, Guard: true},
		{Name: "data", Role: Data, Most: 2047},
		{Name: "check", Role: Check, Size: 2, From: 1, To: 6, Sum: checksum.Negated, Characters: true},
		{Name: "end", Role: Constant, Size: 1, Bytes: []byte{'\r'}},
	}}
}

// heard are the frames that end in some bytes, with the counts.
func heard(f *Format, sent []byte) (frames [][]byte, counts Counts) {
	s := f.NewFinder()
	var told Counts
	s.OnTrouble(func(t Trouble, bytes []byte) { told.add(t, len(bytes)) })
	for _, b := range sent {
		if frame, found := s.Feed(b); found {
			frames = append(frames, append([]byte(nil), frame...))
		}
	}
	s.Lost()
	if told != s.Counts() {
		panic(fmt.Sprintf("told of %+v and counted %+v", told, s.Counts()))
	}
	return frames, s.Counts()
}

// add counts trouble that was told of.
func (c *Counts) add(t Trouble, bytes int) {
	switch t {
	case Noise:
		c.Noise += uint64(bytes)
	case BadChecksum:
		c.BadChecksum++
	case BadLength:
		c.BadLength++
	case Half:
		c.Half++
	}
}
