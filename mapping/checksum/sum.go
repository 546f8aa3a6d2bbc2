package checksum

// Sum is a check value that is a sum of bytes.
type Sum uint8

// The sums.
const (
	Plain    Sum = iota + 1 // the sum itself
	Negated                 // its two's complement: sum and check value add up to 0
	Inverted                // its one's complement
	Xor                     // exclusive or, byte by byte
)

// Sums are the names of the sums.
var Sums = map[string]Sum{"plain": Plain, "negated": Negated, "inverted": Inverted, "xor": Xor}

// Of is the check value of data, modulo the width of so many bits, 1 to 64.
func (s Sum) Of(data []byte, bits int) uint64 {
	var sum uint64
	for _, b := range data {
		if s == Xor {
			sum ^= uint64(b)
		} else {
			sum += uint64(b)
		}
	}
	switch s {
	case Negated:
		sum = -sum
	case Inverted:
		sum = ^sum
	}
	return sum << (64 - bits) >> (64 - bits)
}
