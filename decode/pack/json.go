package pack

import (
	"time"
	"unicode/utf8"
)

// members are the quantities' keys as they begin a member.
var members = func() (m [Count]string) {
	for q := range Count {
		m[q] = `"` + catalogue[q].Key + `":`
	}
	return m
}()

// AppendJSON appends the pack record of the status: one JSON object without a
// line end. It allocates nothing if b has room.
func (s *Status) AppendJSON(b []byte) []byte {
	b = append(b, '{')
	b = s.AppendTime(b)
	b = appendText(appendKey(b, "source"), s.Source)
	if s.HasAddress {
		b = Int(int64(s.Address)).Append(appendKey(b, "address"))
	}
	b = appendText(appendKey(b, "mapping"), s.Mapping)
	b = s.AppendQuantities(b)
	return append(b, '}')
}

// AppendTime appends the member "time", if a frame was used.
func (s *Status) AppendTime(b []byte) []byte {
	if s.Time == 0 {
		return b
	}
	b = append(appendKey(b, "time"), '"')
	b = time.Unix(0, s.Time).UTC().AppendFormat(b, time.RFC3339Nano)
	return append(b, '"')
}

// age is the age of the newest frame used, to the millisecond.
func (s *Status) age() Decimal {
	ms, _ := Decimal{s.Now - s.Time, -9}.Rescale(-3)
	return Decimal{ms, -3}
}

// AppendQuantities appends the members that a pack record and a bank record
// share: the known quantities, alarms, stale, suspect and age_s.
func (s *Status) AppendQuantities(b []byte) []byte {
	var trusts Trust
	for q := range Count {
		trust := s.trust(q)
		trusts |= trust
		if trust&Known != 0 {
			b = s.appendQuantity(append(appendComma(b), members[q]...), q)
		}
	}
	b = s.appendAlarms(b)
	if trusts&Stale != 0 || s.AlarmsStale {
		b = s.appendStale(b)
	}
	if trusts&(Below|Above) != 0 {
		b = s.appendSuspect(b)
	}
	if s.Time != 0 {
		b = s.age().Append(appendKey(b, "age_s"))
	}
	return b
}

func (s *Status) appendQuantity(b []byte, q Quantity) []byte {
	switch kind := catalogue[q].Kind; kind {
	case Number:
		return s.values[q].Decimal().Append(b)
	case Flag:
		return appendFlag(b, s.values[q])
	case Word:
		return appendText(b, s.texts[q].Bytes())
	default:
		return appendList(b, kind, s.Elements(q))
	}
}

func appendList(b []byte, kind Kind, elements []Value) []byte {
	b = append(b, '[')
	for i, v := range elements {
		if i > 0 {
			b = append(b, ',')
		}
		switch {
		case v.Trust&Known == 0:
			b = append(b, "null"...)
		case kind == Flags:
			b = appendFlag(b, v)
		default:
			b = v.Decimal().Append(b)
		}
	}
	return append(b, ']')
}

func appendFlag(b []byte, v Value) []byte {
	if v.Coef != 0 {
		return append(b, "true"...)
	}
	return append(b, "false"...)
}

func (s *Status) appendAlarms(b []byte) []byte {
	if s.Alarms.Known == 0 {
		return b
	}
	b = append(appendKey(b, "alarms"), '[')
	for a := range s.Alarms.All() {
		b = appendText(append(appendComma(b), `{"kind":`...), alarmKinds[a.Kind])
		b = append(appendText(append(b, `,"level":`...), alarmLevels[a.Level]), '}')
	}
	return append(b, ']')
}

func (s *Status) appendStale(b []byte) []byte {
	b = append(appendKey(b, "stale"), '[')
	for q := range Count {
		if s.Stale(q) {
			b = appendText(appendComma(b), catalogue[q].Key)
		}
	}
	if s.AlarmsStale {
		b = appendText(appendComma(b), "alarms")
	}
	return append(b, ']')
}

func (s *Status) appendSuspect(b []byte) []byte {
	b = append(appendKey(b, "suspect"), '[')
	for q := range Count {
		if doubt := s.trust(q) & (Below | Above); doubt != 0 {
			b = appendText(append(appendComma(b), `{"key":`...), catalogue[q].Key)
			b = append(appendText(append(b, `,"why":`...), doubtText(doubt)), '}')
		}
	}
	return append(b, ']')
}

// doubtText says which range a value leaves, or a list's elements leave.
func doubtText(doubt Trust) string {
	switch doubt {
	case Below:
		return "below the mapping's plausible range"
	case Above:
		return "above the mapping's plausible range"
	}
	return "outside the mapping's plausible range"
}

// appendKey appends a member's key, with a comma before it if it is not the first.
func appendKey(b []byte, key string) []byte {
	return append(appendText(appendComma(b), key), ':')
}

func appendComma(b []byte) []byte {
	if last := b[len(b)-1]; last != '{' && last != '[' {
		b = append(b, ',')
	}
	return b
}

const hexDigits = "0123456789abcdef"

// appendText appends text as a JSON string (RFC 8259, section 7). A byte that
// is not UTF-8 becomes the replacement character.
func appendText[T string | []byte](b []byte, text T) []byte {
	b = append(b, '"')
	for i := 0; i < len(text); {
		c := text[i]
		switch {
		case c == '"' || c == '\\':
			b = append(b, '\\', c)
		case c < 0x20 || c == 0x7F:
			b = append(b, '\\', 'u', '0', '0', hexDigits[c>>4], hexDigits[c&15])
		case c < utf8.RuneSelf:
			b = append(b, c)
		default:
			r, size := decodeRune(text, i)
			b = utf8.AppendRune(b, r)
			i += size
			continue
		}
		i++
	}
	return append(b, '"')
}

func decodeRune[T string | []byte](text T, at int) (rune, int) {
	var window [utf8.UTFMax]byte
	n := copy(window[:], text[at:])
	return utf8.DecodeRune(window[:n])
}
