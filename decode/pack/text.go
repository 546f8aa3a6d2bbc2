package pack

import (
	"bytes"
	"math/bits"
)

// MaxText is the most bytes of a text quantity: more than the 32 of a SunSpec
// string.
const MaxText = 47

// text is a short text as bytes from the wire, held without allocating. It may come
// in pieces; bytes that none of them wrote are blanks.
type text struct {
	written uint64 // bit i: byte i was written
	bytes   [MaxText]byte
}

// write places part at byte offset at. What does not fit MaxText is left off.
func (t *text) write(at int, part []byte) {
	if at < 0 || at >= MaxText {
		return
	}
	for i := bits.Len64(t.written); i < at; i++ {
		t.bytes[i] = ' '
	}
	n := copy(t.bytes[at:], part)
	t.written |= (1<<n - 1) << at
}

// differs tells whether something else than part was written at its place.
func (t *text) differs(at int, part []byte) bool {
	for i := max(at, 0); i < min(at+len(part), MaxText); i++ {
		if t.written>>i&1 != 0 && t.bytes[i] != part[i-at] {
			return true
		}
	}
	return false
}

// whole tells whether no byte is missing of those that there can be, bit i for
// byte i, up to the first NUL.
func (t *text) whole(all uint64) bool {
	for i := range MaxText {
		switch bit := uint64(1) << i; {
		case t.written&bit != 0 && t.bytes[i] == 0:
			return true
		case all&^t.written&bit != 0:
			return false
		}
	}
	return true
}

// trimmed is the text up to its first NUL, without the blanks around it. It holds
// until the next write.
func (t *text) trimmed() []byte {
	until, _, _ := bytes.Cut(t.bytes[:bits.Len64(t.written)], []byte{0})
	return bytes.Trim(until, " ")
}
