package decode

import (
	"encoding/binary"
	"math/bits"

	"packlink/mapping"
)

// window is the eight bytes from start on, the first byte least significant.
// Bytes beyond the end are 0.
func window(data []byte, start int) uint64 {
	if start+8 <= len(data) {
		return binary.LittleEndian.Uint64(data[start:])
	}
	return lastWindow(data[min(start, len(data)):])
}

// lastWindow is a window of less than eight bytes. Four to seven are two
// overlapping halves.
func lastWindow(data []byte) (w uint64) {
	if n := len(data); n >= 4 {
		high := uint64(binary.LittleEndian.Uint32(data[n-4:]))
		return uint64(binary.LittleEndian.Uint32(data)) | high<<(8*(n-4)&63)
	}
	for i, b := range data {
		w |= uint64(b) << (8 * i & 63)
	}
	return w
}

// raw takes a field's bits out of its window.
func raw(op *mapping.Op, w uint64) uint64 {
	if op.Big {
		w = bits.ReverseBytes64(w)
	}
	r := w >> op.Shift & op.Mask
	if op.SwapWords {
		r = swapWords(r, op.Type.Bits)
	}
	return r
}

// fromBCD is the number that four-bit digits spell. It is not ok if one is none.
func fromBCD(r uint64) (n uint64, ok bool) {
	for unit := uint64(1); r != 0; r >>= 4 {
		digit := r & 15
		if digit > 9 {
			return 0, false
		}
		n += digit * unit
		unit *= 10
	}
	return n, true
}

// toBCD spells a number in four-bit digits.
func toBCD(n uint64) (r uint64) {
	for shift := 0; n != 0; n /= 10 {
		r |= n % 10 << shift
		shift += 4
	}
	return r
}

// swapWords reverses the order of the 16-bit words of a number.
func swapWords(r uint64, width int) (swapped uint64) {
	for range width / 16 {
		swapped = swapped<<16 | r&0xFFFF
		r >>= 16
	}
	return swapped
}

// whole is a raw value as a whole number, by the field's type. It is not ok if
// the bits are no number of that type.
func whole(op *mapping.Op, r uint64) (n int64, ok bool) {
	switch op.Type.Base {
	case mapping.BCD:
		digits, ok := fromBCD(r)
		return int64(digits), ok
	case mapping.SignMagnitude:
		magnitude := int64(r & (op.Mask >> 1))
		if uint64(magnitude) != r {
			return -magnitude, true
		}
		return magnitude, true
	}
	return int64(r<<op.Extend) >> op.Extend, true
}

// rawOfWhole is a whole number as the bits of a field. It is not ok if the field
// cannot hold it.
func rawOfWhole(op *mapping.Op, n int64) (r uint64, ok bool) {
	r = uint64(n)
	switch {
	case op.Type.Base == mapping.BCD && n >= 0:
		r = toBCD(r)
	case op.Type.Base == mapping.SignMagnitude && n < 0:
		r = -r | (op.Mask &^ (op.Mask >> 1))
	}
	r &= op.Mask
	back, ok := whole(op, r)
	return r, ok && back == n
}

func missing(op *mapping.Op, r uint64) bool {
	for _, m := range op.Unavailable {
		if m.Holds(r) {
			return true
		}
	}
	return false
}
