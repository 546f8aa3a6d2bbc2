package framing

import "fmt"

// Piece is one part of a frame that was taken apart.
type Piece struct {
	Part     *Part
	Index    int    // of the part
	From, To int    // its bytes in the frame before coding
	Want     []byte // what a constant, a length or a check value should be; nil for other parts, and for a length that nothing can say
}

// Dissect takes bytes for one frame, right or wrong, and takes it apart. plain is
// the frame before coding. The error says why the bytes can be no frame at all.
func (f *Format) Dissect(sent []byte) (plain []byte, pieces []Piece, err error) {
	if plain, err = f.uncoded(sent); err != nil {
		return nil, nil, err
	}
	data := len(plain) - f.head - f.tail
	if data < 0 {
		return nil, nil, fmt.Errorf("a frame has at least %d bytes, and there are %d", f.head+f.tail, len(plain))
	}
	for i := range f.Parts {
		p := &f.Parts[i]
		piece := Piece{Part: p, Index: i}
		piece.From, piece.To = f.span(i, len(plain))
		switch p.Role {
		case Constant:
			piece.Want = p.Bytes
		case Length:
			if n, ok := f.lengthOf(p, data); ok {
				piece.Want = make([]byte, p.Size)
				putNumber(piece.Want, p.Little, n)
			}
		case Check:
			n, _ := f.checkOf(p, plain, nil)
			piece.Want = make([]byte, p.Size)
			putNumber(piece.Want, p.Little, n)
		}
		pieces = append(pieces, piece)
	}
	return plain, pieces, nil
}

// uncoded are the bytes of a frame before coding.
func (f *Format) uncoded(sent []byte) ([]byte, error) {
	if f.Coding == Bytes {
		return sent, nil
	}
	first, last := f.Parts[0].Size, f.Parts[len(f.Parts)-1].Size
	if len(sent) < first+last {
		return nil, fmt.Errorf("a frame has at least its first and its last part, %d bytes, and there are %d", first+last, len(sent))
	}
	end := len(sent) - last
	plain, ok := f.decode(append([]byte{}, sent[:first]...), sent[first:end])
	if !ok {
		return nil, fmt.Errorf("what stands between the first and the last part is not coded as the mapping says")
	}
	return append(plain, sent[end:]...), nil
}

// Promised is how many bytes a frame that has begun would have, and the name of the
// part that says it; "" if none says it yet, or none does at all.
func (f *Format) Promised(sent []byte) (size int, by string) {
	if f.Coding != Bytes || f.length < 0 || len(sent) < f.head {
		return 0, ""
	}
	if size, v := f.measure(sent); v == waiting {
		return size, f.Parts[f.length].Name
	}
	return 0, ""
}

// Number is the value of a part's bytes.
func (p *Part) Number(b []byte) uint64 { return number(b, p.Little) }
