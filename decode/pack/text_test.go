package pack

import (
	"bytes"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// placed is one write into a text.
type placed struct {
	at   int
	part string
}

func TestTextInPieces(t *testing.T) {
	long := strings.Repeat("0123456789", 6)
	for _, c := range []struct {
		name   string
		pieces []placed
		want   string
	}{
		{"nothing", nil, ""},
		{"one piece", []placed{{0, "SN12"}}, "SN12"},
		{"pieces in order", []placed{{0, "ABCDEFGH"}, {8, "IJ"}}, "ABCDEFGHIJ"},
		{"pieces in the wrong order", []placed{{4, "EFGH"}, {0, "ABCD"}}, "ABCDEFGH"},
		{"a piece again", []placed{{0, "ABCD"}, {2, "xy"}}, "ABxy"},
		{"a gap becomes blanks", []placed{{0, "AB"}, {4, "EF"}}, "AB  EF"},
		{"only the end is known", []placed{{4, "EF"}}, "EF"},
		{"blanks around and what follows a NUL are left off", []placed{{0, "  AB C \x00 \x00X"}}, "AB C"},
		{"a NUL ends the text", []placed{{0, "A\x00B"}}, "A"},
		{"other white space stays", []placed{{0, "\tA\n"}}, "\tA\n"},
		{"only blanks", []placed{{0, "   \x00"}}, ""},
		{"as long as there is room", []placed{{0, long[:MaxText]}}, long[:MaxText]},
		{"what does not fit is left off", []placed{{0, long}}, long[:MaxText]},
		{"the end of a piece is left off", []placed{{MaxText - 1, "AB"}}, "A"},
		{"a piece beyond the room", []placed{{0, "A"}, {MaxText, "B"}}, "A"},
		{"a piece far beyond", []placed{{0, "A"}, {1 << 40, "B"}}, "A"},
		{"a piece before the start", []placed{{0, "A"}, {-1, "B"}}, "A"},
		{"an empty piece", []placed{{0, "A"}, {0, ""}}, "A"},
	} {
		var text text
		for _, p := range c.pieces {
			text.write(p.at, []byte(p.part))
		}
		if got := string(text.trimmed()); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
}

// A text is the first MaxText bytes, up to a NUL, of what a long enough page of
// blanks would hold after the same writes.
func TestTextIsAPageOfBlanks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var text text
		page := bytes.Repeat([]byte(" "), 200)
		for range rapid.IntRange(0, 6).Draw(t, "pieces") {
			at := rapid.IntRange(0, 80).Draw(t, "at")
			part := rapid.SliceOfN(rapid.Byte(), 0, 80).Draw(t, "part")
			text.write(at, part)
			copy(page[at:], part)
		}
		if want := untilNUL(page[:MaxText]); !bytes.Equal(text.trimmed(), want) {
			t.Fatalf("got %q, want %q", text.trimmed(), want)
		}
	})
}

func untilNUL(page []byte) []byte {
	text, _, _ := bytes.Cut(page, []byte{0})
	return bytes.Trim(text, " ")
}

func TestTextOfAStatus(t *testing.T) {
	var s Status
	v := Value{At: 1, Trust: Known}
	s.PutText(Serial, []byte("LONGSERIAL"), v)
	s.PutText(Model, []byte("M"), v)
	s.PutText(Serial, []byte("SHORT"), v)
	if got := s.Text(Serial); got != "SHORT" {
		t.Errorf("a text that begins again is %q, want SHORT", got)
	}
	s.PutPiece(Serial, &Piece{From: 5, All: 1<<7 - 1}, []byte("ER"), Value{At: 2, Trust: Known | Stale})
	if got := s.Text(Serial); got != "SHORTER" || s.Value(Serial).At != 2 || !s.Stale(Serial) {
		t.Errorf("got %q, %+v", got, s.Value(Serial))
	}
	s.PutText(Serial, []byte("X"), Value{})
	if got := s.Text(Serial); got != "" || s.TextBytes(Serial) != nil || s.Has(Serial) {
		t.Errorf("a text without trust is %q, want none", got)
	}
	s.Clear(Model)
	if s.Has(Model) || s.Text(Model) != "" {
		t.Errorf("a cleared text is %q", s.Text(Model))
	}
}

// TestPiecesOfAText holds that a text is known when all its pieces have come, and no
// sooner, and that a piece which changes makes the others unknown.
func TestPiecesOfAText(t *testing.T) {
	const all = 1<<3 - 1 | 1<<5 | 1<<6 // bytes 3 and 4 are in no piece
	var s Status
	for i, step := range []struct {
		placed
		want string
		at   int64 // of the piece heard first
	}{
		{placed{5, "fg"}, "", 0},
		{placed{0, "abc"}, "abc  fg", 1},
		{placed{0, "abc"}, "abc  fg", 1},
		{placed{5, "fg"}, "abc  fg", 3},
		{placed{5, "FG"}, "", 0},
		{placed{0, "abc"}, "abc  FG", 5},
		{placed{0, "a\x00\x00"}, "a", 7},
		{placed{5, "FG"}, "a", 7},
		{placed{0, "\x00\x00\x00"}, "", 9},
		{placed{0, "abc"}, "", 0},
		{placed{5, "f\x00"}, "abc  f", 10},
	} {
		v := Value{At: int64(i + 1), By: uint16(step.placed.at), Trust: Known}
		s.PutPiece(Serial, &Piece{step.placed.at, all, 100}, []byte(step.part), v)
		if got := s.Text(Serial); got != step.want || s.Value(Serial).At != step.at {
			t.Errorf("step %d: got %q at %d, want %q at %d", i, got, s.Value(Serial).At, step.want, step.at)
		}
	}
}

// TestOverduePieces holds that a piece which is overdue completes no text, that a text
// which was whole is as old as the piece that is overdue first, and that a copy goes
// its own way.
func TestOverduePieces(t *testing.T) {
	begin, rest := &Piece{0, 1<<4 - 1, 100}, &Piece{2, 1<<4 - 1, 10}
	hear := func(s *Status, p *Piece, part string, at int64) {
		s.PutPiece(Serial, p, []byte(part), Value{At: at, By: uint16(p.From), Trust: Known})
	}
	want := func(s *Status, text string, at int64, by uint16) {
		t.Helper()
		if v := s.Value(Serial); s.Text(Serial) != text || v.At != at || v.By != by {
			t.Errorf("got %q of %d by %d, want %q of %d by %d", s.Text(Serial), v.At, v.By, text, at, by)
		}
	}
	var s, other Status
	hear(&s, rest, "cd", 0)
	hear(&s, begin, "ab", 11)
	want(&s, "", 0, 0)
	hear(&s, rest, "cd", 12)
	want(&s, "abcd", 12, 2)
	hear(&s, begin, "ab", 90)
	want(&s, "abcd", 12, 2)
	s.CopyTo(&other)
	hear(&s, rest, "cd", 91)
	want(&s, "abcd", 91, 2)
	want(&other, "abcd", 12, 2)
	hear(&other, begin, "ab", 95)
	want(&other, "abcd", 12, 2)
	hear(&other, begin, "xb", 96)
	want(&other, "", 0, 0)
}
