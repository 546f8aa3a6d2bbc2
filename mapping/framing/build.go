package framing

import "fmt"

// Append appends a whole frame as it stands on the line: with the values of its
// parts by their index, and data. The error says which part cannot say what it
// should; b is returned as it was then.
func (f *Format) Append(b []byte, values *[MaxParts]uint64, data []byte) ([]byte, error) {
	d := &f.Parts[f.data]
	if len(data) < d.Least || len(data) > d.Most {
		return b, fmt.Errorf("the frame has %d bytes of data; it can have %d to %d", len(data), d.Least, d.Most)
	}
	start := len(b)
	b, err := f.appendParts(b, values, data)
	if err != nil {
		return b[:start], err
	}
	b = f.fillChecks(b, start)
	if f.Coding == Bytes {
		return b, nil
	}
	frame := b[start:]
	first, last := f.Parts[0].Size, f.Parts[len(f.Parts)-1].Size
	b = append(b, frame[:first]...)
	b = f.encode(b, frame[first:len(frame)-last])
	b = append(b, frame[len(frame)-last:]...)
	return b[:start+copy(b[start:], b[start+len(frame):])], nil
}

// Sent is a frame as it stands on the line; plain is the frame before coding.
func (f *Format) Sent(plain []byte) []byte {
	first, end := f.Parts[0].Size, len(plain)-f.Parts[len(f.Parts)-1].Size
	if f.Coding == Bytes {
		return plain
	}
	return append(f.encode(append([]byte{}, plain[:first]...), plain[first:end]), plain[end:]...)
}

func (f *Format) appendParts(b []byte, values *[MaxParts]uint64, data []byte) ([]byte, error) {
	for i := range f.Parts {
		p := &f.Parts[i]
		if p.Role == Data {
			b = append(b, data...)
			continue
		}
		at := len(b)
		b = append(b, make([]byte, p.Size)...)
		switch p.Role {
		case Constant:
			copy(b[at:], p.Bytes)
		case Value:
			putNumber(b[at:], p.Little, values[i])
		case Length:
			n, ok := f.lengthOf(p, len(data))
			if !ok {
				return b, fmt.Errorf("the part %s cannot say that the frame has %d bytes of data", p.Name, len(data))
			}
			putNumber(b[at:], p.Little, n)
		}
	}
	return b, nil
}

// fillChecks computes the check values of the frame that begins at start. What
// stands behind it is scratch.
func (f *Format) fillChecks(b []byte, start int) []byte {
	end := len(b)
	for i := range f.Parts {
		p := &f.Parts[i]
		if p.Role != Check {
			continue
		}
		frame := b[start:end]
		n, _ := f.checkOf(p, frame, b[end:])
		from, to := f.span(i, len(frame))
		putNumber(frame[from:to], p.Little, n)
	}
	return b[:end]
}
