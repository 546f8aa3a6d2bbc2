package pack

import (
	"bytes"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// piece is one write into a text.
type piece struct {
	at   int
	part string
}

func TestTextInPieces(t *testing.T) {
	long := strings.Repeat("0123456789", 6)
	for _, c := range []struct {
		name   string
		pieces []piece
		want   string
	}{
		{"nothing", nil, ""},
		{"one piece", []piece{{0, "SN12"}}, "SN12"},
		{"pieces in order", []piece{{0, "ABCDEFGH"}, {8, "IJ"}}, "ABCDEFGHIJ"},
		{"pieces in the wrong order", []piece{{4, "EFGH"}, {0, "ABCD"}}, "ABCDEFGH"},
		{"a piece again", []piece{{0, "ABCD"}, {2, "xy"}}, "ABxy"},
		{"a gap becomes blanks", []piece{{0, "AB"}, {4, "EF"}}, "AB  EF"},
		{"only the end is known", []piece{{4, "EF"}}, "EF"},
		{"blanks around and what follows a NUL are left off", []piece{{0, "  AB C \x00 \x00X"}}, "AB C"},
		{"a NUL ends the text", []piece{{0, "A\x00B"}}, "A"},
		{"other white space stays", []piece{{0, "\tA\n"}}, "\tA\n"},
		{"only blanks", []piece{{0, "   \x00"}}, ""},
		{"as long as there is room", []piece{{0, long[:MaxText]}}, long[:MaxText]},
		{"what does not fit is left off", []piece{{0, long}}, long[:MaxText]},
		{"the end of a piece is left off", []piece{{MaxText - 1, "AB"}}, "A"},
		{"a piece beyond the room", []piece{{0, "A"}, {MaxText, "B"}}, "A"},
		{"a piece far beyond", []piece{{0, "A"}, {1 << 40, "B"}}, "A"},
		{"a piece before the start", []piece{{0, "A"}, {-1, "B"}}, "A"},
		{"an empty piece", []piece{{0, "A"}, {0, ""}}, "A"},
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
	s.PutPiece(Serial, 5, []byte("ER"), 1<<7-1, Value{At: 2, Trust: Known | Stale})
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
		piece
		want string
	}{
		{piece{5, "fg"}, ""},
		{piece{0, "abc"}, "abc  fg"},
		{piece{0, "abc"}, "abc  fg"},
		{piece{5, "FG"}, ""},
		{piece{0, "abc"}, "abc  FG"},
		{piece{0, "a\x00\x00"}, "a"},
		{piece{0, "\x00\x00\x00"}, ""},
		{piece{0, "abc"}, ""},
		{piece{5, "f\x00"}, "abc  f"},
	} {
		at := int64(i + 1)
		s.PutPiece(Serial, step.at, []byte(step.part), all, Value{At: at, Trust: Known})
		if got := s.Text(Serial); got != step.want || got != "" && s.Value(Serial).At != at {
			t.Errorf("step %d: got %q at %d, want %q", i, got, s.Value(Serial).At, step.want)
		}
	}
}
