package framing

// around is how many bytes the parts that a length counts have beside the data.
func (f *Format) around(p *Part) (size int) {
	for i := p.From; i <= p.To; i++ {
		if i != f.data {
			size += f.Parts[i].Size
		}
	}
	return size
}

// lengthOf is what a length says in a frame with so many bytes of data. It is
// not ok if no number says it.
func (f *Format) lengthOf(p *Part, data int) (n uint64, ok bool) {
	halves := 2 * (f.around(p) + data)
	count := halves/p.Halves + p.Plus
	bits := 8 * p.Size
	if p.Guard {
		bits -= 4
	}
	if halves%p.Halves != 0 || count < 0 || bits < 63 && count >= 1<<bits {
		return 0, false
	}
	n = uint64(count)
	if p.Guard {
		n |= guard(n, bits) << bits
	}
	return n, true
}

// guard is the two's complement of the sum of a number's half-bytes.
func guard(n uint64, bits int) uint64 {
	sum := uint64(0)
	for shift := 0; shift < bits; shift += 4 {
		sum += n >> shift & 0xF
	}
	return -sum & 0xF
}

// dataOf is how many bytes of data a length says that there are. It is not ok if
// it contradicts itself, or says more or less than there can be.
func (f *Format) dataOf(p *Part, n uint64) (size int, ok bool) {
	if p.Guard {
		bits := 8*p.Size - 4
		if guard(n&(1<<bits-1), bits) != n>>bits {
			return 0, false
		}
		n &= 1<<bits - 1
	}
	if n > 8*MaxData {
		return 0, false
	}
	halves := (int(n) - p.Plus) * p.Halves
	size = halves/2 - f.around(p)
	d := &f.Parts[f.data]
	return size, halves%2 == 0 && size >= d.Least && size <= d.Most
}
