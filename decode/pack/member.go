package pack

import "unicode/utf8"

// AppendKey appends a member's key, with a comma before it if it is not the first.
func AppendKey(b []byte, key string) []byte {
	return append(AppendText(appendComma(b), key), ':')
}

func appendComma(b []byte) []byte {
	if last := b[len(b)-1]; last != '{' && last != '[' {
		b = append(b, ',')
	}
	return b
}

const hexDigits = "0123456789abcdef"

// AppendText appends text as a JSON string (RFC 8259, section 7). A byte that
// is not UTF-8 becomes the replacement character.
func AppendText[T string | []byte](b []byte, text T) []byte {
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
