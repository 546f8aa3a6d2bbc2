package mapping

import (
	"cmp"
	"fmt"
	"slices"
)

// Raws are raw values that follow one another, both ends included.
type Raws struct{ First, Last uint64 }

// Holds tells whether a raw value is among them.
func (r Raws) Holds(raw uint64) bool { return raw-r.First <= r.Last-r.First }

// String is the raw values in hexadecimal, as in FFFF or FB00 to FFFE.
func (r Raws) String() string {
	if r.First == r.Last {
		return fmt.Sprintf("%X", r.First)
	}
	return fmt.Sprintf("%X to %X", r.First, r.Last)
}

// apart are raw values in ascending order, those that touch as one.
func apart(all []Raws) (joined []Raws) {
	all = slices.SortedFunc(slices.Values(all), func(a, b Raws) int { return cmp.Compare(a.First, b.First) })
	for _, r := range all {
		if last := len(joined) - 1; last >= 0 && (r.First == 0 || r.First-1 <= joined[last].Last) {
			joined[last].Last = max(joined[last].Last, r.Last)
			continue
		}
		joined = append(joined, r)
	}
	return joined
}
