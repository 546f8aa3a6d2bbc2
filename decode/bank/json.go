package bank

import (
	"encoding/json"
	"strings"
	"unicode/utf8"

	"packlink/decode/pack"
)

// AppendJSON appends the bank record: one JSON object without a line end. It
// allocates nothing if b has room and no name needs escapes.
func (b *Bank) AppendJSON(to []byte) []byte {
	to = append(to, '{')
	to = b.Whole.AppendTime(to)
	to = appendName(appendKey(to, "bank"), b.Name)
	to = b.Whole.AppendQuantities(to)
	to = append(appendKey(to, "shares"), '[')
	for i := range b.Shares {
		if i > 0 {
			to = append(to, ',')
		}
		to = b.Shares[i].appendJSON(to)
	}
	return append(to, ']', '}')
}

func (s *Share) appendJSON(to []byte) []byte {
	to = appendName(appendKey(append(to, '{'), "source"), s.Source)
	if s.HasAddress {
		to = pack.Int(int64(s.Address)).Append(appendKey(to, "address"))
	}
	to = appendNumber(to, "current_a", s.Current)
	to = appendNumber(to, "share_pct", s.Percent)
	return append(to, '}')
}

func appendNumber(to []byte, key string, v pack.Value) []byte {
	if v.Trust == 0 {
		return to
	}
	return v.Decimal().Append(appendKey(to, key))
}

func appendKey(to []byte, key string) []byte {
	if to[len(to)-1] != '{' {
		to = append(to, ',')
	}
	return append(append(append(to, '"'), key...), '"', ':')
}

// appendName appends a configured name as a JSON string.
func appendName(to []byte, name string) []byte {
	if utf8.ValidString(name) && strings.IndexFunc(name, needsEscape) < 0 {
		return append(append(append(to, '"'), name...), '"')
	}
	quoted, _ := json.Marshal(name) // a string always has a JSON form
	return append(to, quoted...)
}

func needsEscape(r rune) bool { return r < ' ' || r == '"' || r == '\\' || r == 0x7F }
