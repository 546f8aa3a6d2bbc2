package decode

import "packlink/mapping"

// place writes raw bits at a field's place, offset bytes further on.
func place(op *mapping.Op, data []byte, offset int, r uint64) {
	if op.SwapWords {
		r = swapWords(r, op.Type.Bits)
	}
	start, size := op.StartByte(0)+offset, op.ContainerBytes()
	mask := op.Mask
	for i := range size {
		at := start + i
		if op.Big {
			at = start + size - 1 - i
		}
		shift := 8*i - op.Bit
		data[at] &^= shiftBits(mask, shift)
		data[at] |= shiftBits(r, shift)
	}
}

// shiftBits are eight bits of a number from bit shift on, which may be negative.
func shiftBits(r uint64, shift int) byte {
	if shift < 0 {
		return byte(r << -shift)
	}
	return byte(r >> shift)
}

// spread writes a state into each slot whose bit is set.
func spread(op *mapping.Op, slots, state uint64) (r uint64) {
	width := 1
	if op.Type.Base == mapping.Pairs {
		width = 2
	}
	for i := range op.Type.Bits / width {
		r |= (slots >> i & 1) * state << (i * width)
	}
	return r
}
