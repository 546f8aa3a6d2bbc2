// Package framing builds the frames of a serial line and finds them among its
// bytes, by a layout that says part by part what a frame is made of.
package framing

import (
	"packlink/mapping/checksum"
)

// Limits of a layout. They bound the memory that a line costs.
const (
	MaxParts = 16   // parts of a frame
	MaxData  = 4096 // bytes of data in a frame
	MaxOpen  = 256  // bytes of data in a frame whose end only its last part tells
)

// Layout is what a frame is made of.
type Layout struct {
	Parts   []Part // in the order of the line
	Coding  Coding
	Escapes []Escape // of the coding Escaped
}

// Coding is how the parts between the first and the last one are sent.
type Coding uint8

// The codings.
const (
	Bytes    Coding = iota // as they are
	ASCIIHex               // as two upper-case hexadecimal digits a byte, the high one first
	Escaped                // some bytes as two others
)

// Escape is a byte that never stands between the first and the last part: two
// others are sent for it.
type Escape struct {
	Byte byte
	Sent [2]byte // the first is the same for every escape of a layout
}

// Role is what a part of a frame is for.
type Role uint8

// The roles of parts.
const (
	Constant Role = iota + 1 // the same bytes in every frame
	Value                    // a number that a message says
	Length                   // how long other parts are
	Check                    // a check value over other parts
	Data                     // the payload
)

// Part is one part of a frame.
type Part struct {
	Name   string
	Role   Role
	Size   int    // bytes, before coding; 0 for data whose size varies
	Bytes  []byte // of a constant
	Little bool   // of a number: least significant byte first
	Write  uint64 // of a value: what is written where nothing else is said

	From, To int  // indexes of the first and last part that are counted or checked
	Plus     int  // a length says so much more than it counts
	Halves   int  // half-bytes that a length counts as one: 1, 2 or 4
	Guard    bool // the top half-byte of a length is the two's complement of the sum of the others

	Sum        checksum.Sum    // of a check: the sum, if it has no CRC
	CRC        *checksum.Table // of a check
	Characters bool            // a check is over the characters sent, not the bytes they stand for

	Least, Most int // bytes of data
}

// Format is a layout ready to be used. It does not change, so any number of
// goroutines can use it.
type Format struct {
	Layout
	data       int // index of the data
	length     int // index of the length that tells where a frame ends, -1 if none does
	head, tail int // bytes before and behind the data
	at         [MaxParts]int
	longest    int // bytes of the longest frame on the line
	open       bool
}

// Compile makes a layout usable. It has exactly one part of data.
func (l Layout) Compile() *Format {
	f := &Format{Layout: l, data: -1, length: -1}
	for i := range l.Parts {
		p := &l.Parts[i]
		switch {
		case p.Role == Data:
			f.data = i
			continue
		case f.data >= 0:
			f.tail += p.Size
			continue
		case p.Role == Length && f.length < 0:
			f.length = i
		}
		f.head += p.Size
	}
	f.place()
	d := &l.Parts[f.data]
	f.open = f.length < 0 && d.Size == 0
	f.longest = f.sent(f.head + d.Most + f.tail)
	return f
}

// place notes where each part begins: counted from the frame's beginning, or, if
// it stands behind the data, from the frame's end and negative.
func (f *Format) place() {
	at := 0
	for i := range f.Parts {
		if i == f.data+1 {
			at = -f.tail
		}
		f.at[i] = at
		at += f.Parts[i].Size
	}
}

// sent is how many bytes a frame of so many has at most on the line.
func (f *Format) sent(size int) int {
	if f.Coding == Bytes {
		return size
	}
	ends := f.Parts[0].Size + f.Parts[len(f.Parts)-1].Size
	return ends + 2*(size-ends)
}

// DataPart is the part that holds the payload.
func (f *Format) DataPart() *Part { return &f.Parts[f.data] }

// span is where a part stands in a frame of size bytes.
func (f *Format) span(i, size int) (from, to int) {
	from = f.at[i]
	if i > f.data {
		from += size
	}
	if i == f.data {
		return from, size - f.tail
	}
	return from, from + f.Parts[i].Size
}

// run is where the parts from one to another stand in a frame of size bytes.
func (f *Format) run(first, last, size int) (from, to int) {
	from, _ = f.span(first, size)
	_, to = f.span(last, size)
	return from, to
}

// Data is the payload in a frame that was found.
func (f *Format) Data(frame []byte) []byte { return frame[f.head : len(frame)-f.tail] }

// Values reads the numbers that a message says, by the index of their parts.
func (f *Format) Values(frame []byte, values *[MaxParts]uint64) {
	for i := range f.Parts {
		if p := &f.Parts[i]; p.Role == Value {
			from, to := f.span(i, len(frame))
			values[i] = number(frame[from:to], p.Little)
		}
	}
}

func number(b []byte, little bool) (n uint64) {
	for i := range b {
		if little {
			n |= uint64(b[i]) << (8 * i)
		} else {
			n = n<<8 | uint64(b[i])
		}
	}
	return n
}

func putNumber(b []byte, little bool, n uint64) {
	for i := range b {
		shift := 8 * i
		if !little {
			shift = 8 * (len(b) - 1 - i)
		}
		b[i] = byte(n >> shift)
	}
}
