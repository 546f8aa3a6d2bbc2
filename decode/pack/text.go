package pack

import "bytes"

// MaxText is the most bytes of a text quantity: more than the 32 of a SunSpec
// string.
const MaxText = 47

// Text is a short text as bytes from the wire, held without allocating.
type Text struct {
	size  uint8
	bytes [MaxText]byte
}

// Write places part at byte offset at, so that a text may come in several
// messages. Bytes between the old end and at become blanks; what does not fit
// MaxText is left off.
func (t *Text) Write(at int, part []byte) {
	if at < 0 || at >= MaxText {
		return
	}
	for int(t.size) < at {
		t.bytes[t.size] = ' '
		t.size++
	}
	n := copy(t.bytes[at:], part)
	t.size = max(t.size, uint8(at+n))
}

// Bytes is the text up to its first NUL, without the blanks around it. It holds
// until the next Write.
func (t *Text) Bytes() []byte {
	text, _, _ := bytes.Cut(t.bytes[:t.size], []byte{0})
	return bytes.Trim(text, " ")
}

// String is the text as a string.
func (t *Text) String() string { return string(t.Bytes()) }
