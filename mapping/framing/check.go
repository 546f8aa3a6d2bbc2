package framing

import "bytes"

// checkOf is the check value of a frame. Characters are written to scratch, which
// is returned.
func (f *Format) checkOf(p *Part, frame, scratch []byte) (uint64, []byte) {
	from, to := f.run(p.From, p.To, len(frame))
	covered := frame[from:to]
	if p.Characters {
		scratch = appendHex(scratch[:0], covered)
		covered = scratch
	}
	if p.CRC != nil {
		return p.CRC.Sum(covered), scratch
	}
	return p.Sum.Of(covered, 8*p.Size), scratch
}

// sound tells whether every check value of a frame holds.
func (f *Format) sound(frame, scratch []byte) (ok bool, grown []byte) {
	for i := range f.Parts {
		p := &f.Parts[i]
		if p.Role != Check {
			continue
		}
		want := uint64(0)
		want, scratch = f.checkOf(p, frame, scratch)
		from, to := f.span(i, len(frame))
		if number(frame[from:to], p.Little) != want {
			return false, scratch
		}
	}
	return true, scratch
}

// shaped tells whether the constants and lengths of a whole frame are right.
func (f *Format) shaped(frame []byte) bool {
	data := len(frame) - f.head - f.tail
	d := &f.Parts[f.data]
	if data < d.Least || data > d.Most {
		return false
	}
	for i := range f.Parts {
		p := &f.Parts[i]
		from, to := f.span(i, len(frame))
		switch p.Role {
		case Constant:
			if !bytes.Equal(frame[from:to], p.Bytes) {
				return false
			}
		case Length:
			want, ok := f.lengthOf(p, data)
			if !ok || number(frame[from:to], p.Little) != want {
				return false
			}
		}
	}
	return true
}
