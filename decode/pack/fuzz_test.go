package pack

import (
	"bytes"
	"testing"
	"unicode/utf8"
)

func FuzzParseDecimal(f *testing.F) {
	for _, text := range []string{
		"0", "-0", "52.8", "-12.50", "007", "999999999999999999", "-0.99999999999999999", "1000000000000000000",
		"", "-", ".", "1.", ".5", "+1", "--1", "1e3", "0x10", "1_0", "1.2.3", "NaN", " 1", "1\n", "\x00", "\xff", "−1", "1.-2",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, err := ParseDecimal(text)
		if plain := isPlain(text); plain != (err == nil) {
			t.Fatalf("%q is %+v, %v", text, d, err)
		}
		if err != nil {
			return
		}
		again, err := ParseDecimal(d.String())
		if err != nil || again.Cmp(d) != 0 {
			t.Fatalf("%q is %+v, written %v, read %+v, %v", text, d, d, again, err)
		}
	})
}

// isPlain tells whether a text is digits, with at most one sign before them and
// one point between them, 18 digits at most.
func isPlain(text string) bool {
	digits, points := 0, 0
	for i, c := range []byte(text) {
		switch {
		case c >= '0' && c <= '9':
			digits++
		case c == '-' && i == 0:
		case c == '.' && digits > 0 && i < len(text)-1:
			points++
		default:
			return false
		}
	}
	return digits > 0 && digits <= 18 && points <= 1
}

// Any bytes in a text quantity, in two pieces, give a valid record (RFC 8259,
// section 7 "Strings", section 8.1 "Character Encoding").
func FuzzText(f *testing.F) {
	for _, seed := range []struct {
		part []byte
		at   int
	}{
		{[]byte("SN-0001"), 0}, {nil, 0}, {[]byte(" \x00 "), 3}, {[]byte(`"\`), 1}, {[]byte("\x00\x1f\x7f\n"), 46}, {[]byte("\xff\xfe"), 47},
		{[]byte("Gar\u00e4ge \U0001F50B"), -1}, {[]byte("\xed\xa0\x80\xf4\x90\x80\x80"), 1 << 30}, {bytes.Repeat([]byte{0xC3}, 100), 20}, {[]byte("</script>\u2028"), 8},
	} {
		f.Add(seed.part, seed.at)
	}
	schema := Schema()
	f.Fuzz(func(t *testing.T, part []byte, at int) {
		var s Status
		s.PutText(Serial, part, Value{Trust: Known})
		s.PutPiece(Serial, &Piece{From: at}, part, Value{Trust: Known})
		s.Source, s.Mapping = string(part), string(part)
		record := s.AppendJSON(nil)
		if !utf8.Valid(record) || bytes.ContainsFunc(record, func(r rune) bool { return r < 0x20 }) {
			t.Fatalf("the record is not one line of UTF-8: %q", record)
		}
		if err := newValidator(t, schema).validate(record); err != nil {
			t.Fatal(err)
		}
		m := fields(t, record)
		if m["serial"] != asGo(s.Text(Serial)) || m["source"] != asGo(string(part)) {
			t.Fatalf("%q became %s", part, record)
		}
	})
}
