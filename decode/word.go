package decode

import (
	"slices"
	"strconv"
	"time"

	"packlink/mapping"
)

// meaning is what a raw value of a flag or a text means; nil if it means nothing.
func meaning(op *mapping.Op, r uint64) *mapping.Meaning {
	if missing(op, r) {
		return nil
	}
	var other *mapping.Meaning
	for i := range op.Values {
		switch m := &op.Values[i]; {
		case m.Other:
			other = m
		case m.Raw == r:
			return m
		}
	}
	return other
}

// words is the text that a raw value means, empty if it means none.
func words(op *mapping.Op, r uint64) []byte {
	if m := meaning(op, r); m != nil {
		return m.Text
	}
	return nil
}

// wordRaw is the raw value that means a text.
func wordRaw(op *mapping.Op, text string) (uint64, error) {
	if text == "" {
		return unknownRaw(op)
	}
	i := slices.IndexFunc(op.Values, func(m mapping.Meaning) bool { return !m.Other && string(m.Text) == text })
	if i < 0 {
		return 0, &NoRoomError{fieldName(op), strconv.Quote(text), "its values"}
	}
	return op.Values[i].Raw, nil
}

// otherRaw is the raw value that a field of the original payload has, if it
// stands for "other": such a value is only read.
func (w *writing) otherRaw(op *mapping.Op) (r uint64, is bool) {
	original, _ := w.lets.part(op, w.original)
	if op.Need > len(original) || len(op.Values) == 0 {
		return 0, false
	}
	r = raw(op, window(original, op.Start))
	m := meaning(op, r)
	return r, m != nil && m.Other
}

// mostDays is more days than lie between any two dates of four-digit years.
const mostDays = 4_000_000

// date is the date that a number is, as 2024-05-17. It is empty if there is no
// such date.
func date(op *mapping.Op, n int64, b []byte) []byte {
	year, month, day := int64(op.Since), int64(time.January), int64(1)
	switch op.Date {
	case mapping.Packed:
		year, month, day = year+n>>9, n>>5&15, n&31
	case mapping.Days:
		if n < -mostDays || n > mostDays {
			return b
		}
		day += n
	case mapping.Digits:
		year, month, day = n/10_000, n/100%100, n%100
	case mapping.Digits6:
		if n >= 1_000_000 {
			return b
		}
		year, month, day = year+n/10_000, n/100%100, n%100
	}
	if year < 0 || year > 9999 {
		return b
	}
	t := time.Date(int(year), time.Month(month), int(day), 0, 0, 0, 0, time.UTC)
	exists := op.Date == mapping.Days || int64(t.Month()) == month && int64(t.Day()) == day
	if !exists || t.Year() < 1 || t.Year() > 9999 {
		return b
	}
	return t.AppendFormat(b, time.DateOnly)
}

// dateRaw is the raw value that is a date. It is not ok if the field cannot hold
// it.
func dateRaw(op *mapping.Op, text string) (uint64, error) {
	if text == "" {
		return unknownRaw(op)
	}
	t, err := time.Parse(time.DateOnly, text)
	n := int64(0)
	year, month, day := int64(t.Year()), int64(t.Month()), int64(t.Day())
	switch since := year - int64(op.Since); op.Date {
	case mapping.Packed:
		n = since<<9 | month<<5 | day
	case mapping.Days:
		n = int64(t.Sub(time.Date(op.Since, time.January, 1, 0, 0, 0, 0, time.UTC)) / (24 * time.Hour))
	case mapping.Digits:
		n = year*10_000 + month*100 + day
	case mapping.Digits6:
		n = since*10_000 + month*100 + day
	}
	r, fits := rawOfWhole(op, n)
	back, _ := whole(op, r)
	if err != nil || !fits || missing(op, r) || string(date(op, back, nil)) != text {
		return 0, &NoRoomError{fieldName(op), strconv.Quote(text), op.Type.Name}
	}
	return r, nil
}
