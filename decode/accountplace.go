package decode

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
	"strings"
)

// Bits are the bits from Low to High, which are 0 to 7, of one byte of a frame.
type Bits struct {
	Byte int `json:"byte"`
	Low  int `json:"low"`
	High int `json:"high"`
}

// Place is where the span's bits are, as a person reads it: bytes 0 to 1, byte 2
// bits 0 to 3 and 6; with the registers that they are, if they are of any.
func (s *Span) Place() string {
	if s.Registers != "" {
		return placeText(s.Bits, "byte", 7) + " (" + s.Registers + ")"
	}
	return placeText(s.Bits, "byte", 7)
}

// placeText is where bits are, of units that have bits 0 to top.
func placeText(all []Bits, unit string, top int) string {
	var parts []string
	whole := func(b Bits) bool { return b.Low == 0 && b.High == top }
	for i := 0; i < len(all); i++ {
		b, last := all[i], i
		for whole(b) && last+1 < len(all) && whole(all[last+1]) && all[last+1].Byte == all[last].Byte+1 {
			last++
		}
		switch {
		case last > i:
			parts = append(parts, fmt.Sprintf("%ss %d to %d", unit, b.Byte, all[last].Byte))
		case whole(b):
			parts = append(parts, fmt.Sprintf("%s %d", unit, b.Byte))
		case i > 0 && all[i-1].Byte == b.Byte:
			parts[len(parts)-1] += " and " + b.numbers()
		case b.Low == b.High:
			parts = append(parts, fmt.Sprintf("%s %d bit %s", unit, b.Byte, b.numbers()))
		default:
			parts = append(parts, fmt.Sprintf("%s %d bits %s", unit, b.Byte, b.numbers()))
		}
		i = last
	}
	return strings.Join(parts, ", ")
}

func (b Bits) numbers() string {
	if b.Low == b.High {
		return fmt.Sprint(b.Low)
	}
	return fmt.Sprintf("%d to %d", b.Low, b.High)
}

func (b Bits) compare(other Bits) int {
	return cmp.Or(cmp.Compare(b.Byte, other.Byte), cmp.Compare(b.Low, other.Low))
}

// inRegisters is where bits of the frame are by registers of 16 bits, high byte
// first. Bytes before the first register are those of the registers before it.
func (a *accountant) inRegisters(all []Bits) string {
	var in []Bits
	for _, b := range all {
		at := b.Byte - a.registersFrom
		b.Byte = a.register + at>>1
		if at&1 == 0 {
			b.Low, b.High = b.Low+8, b.High+8
		}
		if n := len(in); n > 0 && in[n-1].Byte == b.Byte && in[n-1].Low == b.High+1 {
			in[n-1].Low = b.Low
			continue
		}
		in = append(in, b)
	}
	return placeText(in, "register", 15)
}

// outside is where bits are that are not in the frame, as the bus counts.
func (a *accountant) outside(masks map[int]byte) string {
	var all []Bits
	for at, mask := range masks {
		all = append(all, runs(at, mask)...)
	}
	slices.SortFunc(all, Bits.compare)
	switch {
	case a.registersTo > 0:
		return a.inRegisters(all)
	case a.data == 0:
		return placeText(all, "byte", 7)
	}
	for i := range all {
		all[i].Byte -= a.data
	}
	return placeText(all, "byte", 7) + " of the data"
}

// runs are the bits of a mask, those that follow one another as one.
func runs(at int, mask byte) (all []Bits) {
	for mask != 0 {
		low := bits.TrailingZeros8(mask)
		length := bits.TrailingZeros8(^(mask >> low))
		all = append(all, Bits{at, low, low + length - 1})
		mask &^= (1<<length - 1) << low
	}
	return all
}
