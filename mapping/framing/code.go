package framing

const hexDigits = "0123456789ABCDEF"

func appendHex(b, data []byte) []byte {
	for _, d := range data {
		b = append(b, hexDigits[d>>4], hexDigits[d&0xF])
	}
	return b
}

// digit is the value of an upper-case hexadecimal digit, which is how they are
// sent; others are none.
func digit(c byte) (value byte, is bool) {
	switch {
	case c >= '0' && c <= '9':
		return c - '0', true
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10, true
	}
	return 0, false
}

// encode appends what is sent for bytes between the first and the last part.
func (f *Format) encode(b, body []byte) []byte {
	if f.Coding == ASCIIHex {
		return appendHex(b, body)
	}
	for _, c := range body {
		if e := f.escape(c); e != nil {
			b = append(b, e.Sent[:]...)
		} else {
			b = append(b, c)
		}
	}
	return b
}

func (f *Format) escape(c byte) *Escape {
	for i := range f.Escapes {
		if f.Escapes[i].Byte == c {
			return &f.Escapes[i]
		}
	}
	return nil
}

// decode appends the bytes that were sent as body. It is not ok if they cannot
// have been sent so.
func (f *Format) decode(b, body []byte) (decoded []byte, ok bool) {
	if f.Coding == ASCIIHex {
		return decodeHex(b, body)
	}
	for i := 0; i < len(body); i++ {
		if body[i] != f.Escapes[0].Sent[0] {
			b = append(b, body[i])
			continue
		}
		if i++; i == len(body) {
			return b, false
		}
		c, is := f.unescape(body[i])
		if !is {
			return b, false
		}
		b = append(b, c)
	}
	return b, true
}

// unescape is the byte that an escape whose second byte is c stands for.
func (f *Format) unescape(c byte) (byte, bool) {
	for _, e := range f.Escapes {
		if e.Sent[1] == c {
			return e.Byte, true
		}
	}
	return 0, false
}

func decodeHex(b, text []byte) (decoded []byte, ok bool) {
	if len(text)%2 != 0 {
		return b, false
	}
	for i := 0; i < len(text); i += 2 {
		high, isHigh := digit(text[i])
		low, isLow := digit(text[i+1])
		if !isHigh || !isLow {
			return b, false
		}
		b = append(b, high<<4|low)
	}
	return b, true
}
