package decode

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"packlink/mapping"
)

// dated is a date field of 32 bits.
func dated(form mapping.DateForm, since int) *mapping.Op {
	return &mapping.Op{Field: &mapping.Field{Type: mapping.Type{Base: mapping.Unsigned, Bits: 32}, Date: form, Since: since}, Mask: 1<<32 - 1}
}

// TestDatesThatAreNone holds which numbers are no date. The rule of leap years is
// that of the Gregorian calendar (ISO 8601-1:2019, section 4.2.1, from memory).
func TestDatesThatAreNone(t *testing.T) {
	for _, v := range []struct {
		form  mapping.DateForm
		since int
		n     int64
		want  string
	}{
		{mapping.Digits, 2000, 20240229, "2024-02-29"}, {mapping.Digits, 2000, 20230229, ""}, {mapping.Digits, 2000, 20000229, "2000-02-29"},
		{mapping.Digits, 2000, 21000229, ""}, {mapping.Digits, 2000, 20241301, ""}, {mapping.Digits, 2000, 20240100, ""}, {mapping.Digits, 2000, 20240001, ""},
		{mapping.Digits, 2000, 0, ""}, {mapping.Digits, 2000, 99991231, "9999-12-31"}, {mapping.Digits, 2000, 100000101, ""},
		{mapping.Digits6, 1900, 991231, "1999-12-31"}, {mapping.Digits6, 2000, 101, "2000-01-01"}, {mapping.Digits6, 2000, 1000101, ""}, {mapping.Digits6, 9950, 600101, ""},
		{mapping.Packed, 2000, 0, ""}, {mapping.Packed, 2000, 1<<5 | 1, "2000-01-01"}, {mapping.Packed, 1980, 127<<9 | 12<<5 | 31, "2107-12-31"}, {mapping.Packed, 2000, 13<<5 | 1, ""},
		{mapping.Days, 2000, 0, "2000-01-01"}, {mapping.Days, 2000, -1, "1999-12-31"}, {mapping.Days, 2000, 365, "2000-12-31"}, {mapping.Days, 1970, 4_000_001, ""},
		{mapping.Days, 1, -1, ""}, {mapping.Days, 9999, 365, ""}, {mapping.Days, 2000, -1 << 62, ""},
	} {
		if got := string(date(dated(v.form, v.since), v.n, nil)); got != v.want {
			t.Errorf("form %d, %d since %d is %q, want %q", v.form, v.n, v.since, got, v.want)
		}
	}
}

// TestDatesAreWrittenBack holds that each date is written as a number that is the
// same date, or refused.
func TestDatesAreWrittenBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		form := mapping.DateForm(rapid.IntRange(int(mapping.Packed), int(mapping.Digits6)).Draw(t, "form"))
		op := dated(form, 1990)
		day := time.Date(1990, 1, 1+rapid.IntRange(-1000, 60_000).Draw(t, "day"), 0, 0, 0, 0, time.UTC)
		text := day.Format(time.DateOnly)
		r, err := dateRaw(op, text)
		holds := form == mapping.Digits || day.Year() >= 1990 && (form == mapping.Days || day.Year() < 2090)
		switch {
		case err == nil:
			if got := string(date(op, int64(r), nil)); got != text {
				t.Errorf("form %d: %s is written as %d, which is %q", form, text, r, got)
			}
		case holds:
			t.Errorf("form %d: %s is refused: %v", form, text, err)
		}
	})
	for _, text := range []string{"17.05.2024", "2024-02-30", "May 2024", "2024-5-17"} {
		if r, err := dateRaw(dated(mapping.Digits, 2000), text); err == nil {
			t.Errorf("%q is written as %d", text, r)
		}
	}
}
