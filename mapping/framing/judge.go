package framing

import "bytes"

// judge looks at the bytes from a start to the newest one.
func (s *Finder) judge(c *start, sent []byte) (frame []byte, v verdict) {
	f := s.format
	if f.Coding != Bytes {
		return s.judgeCoded(sent)
	}
	if c.size == 0 {
		if c.size, v = f.measure(sent); c.size == 0 || c.size > len(sent) {
			return nil, v
		}
	}
	switch {
	case !f.open:
		return sent, s.judgeWhole(sent)
	case len(sent) < f.head+f.Parts[f.data].Least+f.tail:
		return nil, waiting
	}
	v = s.judgeWhole(sent)
	c.ended = c.ended || v == badChecksum
	if v != whole && len(sent) == f.longest {
		return nil, overlong(c)
	}
	if v != whole {
		v = waiting
	}
	return sent, v
}

func overlong(c *start) verdict {
	if c.ended {
		return badChecksum
	}
	return half
}

// judgeWhole judges bytes that are a frame from its first to its last.
func (s *Finder) judgeWhole(frame []byte) verdict {
	if !s.format.shaped(frame) {
		return badLength
	}
	sound, scratch := s.format.sound(frame, s.scratch)
	s.scratch = scratch
	if !sound {
		return badChecksum
	}
	return whole
}

// measure is how long the frame that begins here is. It is 0 while too few bytes
// tell, and the number of bytes before the data if only the frame's end tells.
func (f *Format) measure(sent []byte) (size int, v verdict) {
	for i := range f.Parts[:f.data] {
		p := &f.Parts[i]
		from, to := f.at[i], f.at[i]+p.Size
		if from >= len(sent) {
			return 0, waiting
		}
		there := sent[from:min(to, len(sent))]
		if p.Role == Constant && !bytes.HasPrefix(p.Bytes, there) {
			return 0, noise
		}
	}
	if len(sent) < f.head {
		return 0, waiting
	}
	if f.open {
		return f.head, waiting
	}
	data := f.Parts[f.data].Size
	if f.length >= 0 {
		from, to := f.span(f.length, f.head)
		var ok bool
		if data, ok = f.dataOf(&f.Parts[f.length], number(sent[from:to], f.Parts[f.length].Little)); !ok {
			return 0, badLength
		}
	}
	return f.head + data + f.tail, waiting
}

// judgeCoded looks at bytes of a coding, in which the first and the last part
// stand nowhere else.
func (s *Finder) judgeCoded(sent []byte) (frame []byte, v verdict) {
	f := s.format
	first, last := f.Parts[0].Bytes, f.Parts[len(f.Parts)-1].Bytes
	if len(sent) <= len(first) {
		if bytes.HasPrefix(first, sent) {
			return nil, waiting
		}
		return nil, noise
	}
	body := sent[len(first):]
	newest := body[len(body)-1]
	switch {
	case bytes.HasSuffix(body, last):
		return s.judgeBody(body[:len(body)-len(last)])
	case newest == first[0] || len(sent) >= f.longest:
		return nil, half
	case f.Coding == ASCIIHex && !isHex(newest) && bytes.IndexByte(last, newest) < 0:
		return nil, half
	}
	return nil, waiting
}

func isHex(c byte) bool {
	_, is := digit(c)
	return is
}

// judgeBody judges what was sent between the first and the last part.
func (s *Finder) judgeBody(body []byte) (frame []byte, v verdict) {
	f := s.format
	if len(body) == 0 && f.Coding == Escaped && f.begins(f.Parts[len(f.Parts)-1].Bytes[0]) {
		return nil, idle
	}
	s.plain = append(s.plain[:0], f.Parts[0].Bytes...)
	var ok bool
	if s.plain, ok = f.decode(s.plain, body); !ok {
		return nil, badLength
	}
	s.plain = append(s.plain, f.Parts[len(f.Parts)-1].Bytes...)
	return s.plain, s.judgeWhole(s.plain)
}
