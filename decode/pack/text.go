package pack

import (
	"bytes"
	"math/bits"
	"slices"
)

// MaxText is the most bytes of a text quantity: more than the 32 of a SunSpec
// string.
const MaxText = 47

// text is a short text as bytes from the wire, held without allocating. It may come
// in pieces; bytes that none of them wrote are blanks.
type text struct {
	written uint64 // bit i: byte i was written
	bytes   [MaxText]byte
	pieces  []piece // that were heard, of a text which comes in pieces; at most one from each byte on
}

// Piece is what one field gives of a text that comes in several.
type Piece struct {
	From  int    // byte at which it begins, from 0
	All   uint64 // bit i for each byte i that one of the text's fields gives
	Lasts int64  // nanoseconds after which it is overdue
}

// piece is a piece that was heard.
type piece struct {
	from, end int
	at, until int64 // nanoseconds since the Unix epoch: heard, and not overdue
	by        uint16
}

// reset begins an empty text.
func (t *text) reset() { *t = text{pieces: t.pieces[:0]} }

// hear notes a piece, in place of what was heard there before.
func (t *text) hear(p piece) {
	if p.from < 0 || p.from >= MaxText {
		return
	}
	for i := range t.pieces {
		if t.pieces[i].from == p.from {
			t.pieces[i] = p
			return
		}
	}
	t.pieces = append(t.pieces, p)
}

// forgetUntil forgets the pieces that are overdue at an instant.
func (t *text) forgetUntil(now int64) {
	t.pieces = slices.DeleteFunc(t.pieces, func(p piece) bool {
		if p.until < now {
			t.written &^= (1<<(p.end-p.from) - 1) << p.from
		}
		return p.until < now
	})
}

// firstOverdue is the piece that will be overdue before all others which reach into
// the text; nil if there is none.
func (t *text) firstOverdue() (first *piece) {
	until := bytes.IndexByte(t.bytes[:bits.Len64(t.written)], 0)
	for i := range t.pieces {
		p := &t.pieces[i]
		if until >= 0 && p.from > until {
			continue
		}
		if first == nil || p.until < first.until {
			first = p
		}
	}
	return first
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
