package decode

import (
	"fmt"
	"strings"

	"packlink/mapping"
)

// Evidence is what speaks for a mapping and against it.
type Evidence struct {
	Table     *mapping.Compiled
	Frames    uint64 // frames, or answers of a serial line, that were there; of a transfer, its last
	Explained uint64 // of them, those that the mapping reads
	Reasons   []Reason
}

// Reason is the outcome of one test.
type Reason struct {
	Test string  // "frames", "messages", "lengths", "values", "cells" or "periods"
	Bits float64 // for the mapping; negative: against it
	Text string
}

// Bits is the sum of all reasons: 2 to its power is how much rarer other
// traffic would look like this.
func (e *Evidence) Bits() (sum float64) {
	for _, r := range e.Reasons {
		sum += r.Bits
	}
	return sum
}

// Sure tells whether the evidence, taken alone, is enough to choose the mapping.
func (e *Evidence) Sure() bool {
	var against float64
	for _, r := range e.Reasons {
		against += max(-r.Bits, 0)
	}
	support := e.Bits() + against
	return e.Bits() >= bitsToBeSure && e.Explained >= framesToBeSure && against*mostAgainst <= support
}

// String is the evidence in lines: the mapping, then a line for each test.
func (e *Evidence) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %.0f bits, explains %d of %d", e.Table.Name, e.Bits(), e.Explained, e.Frames)
	for _, r := range e.Reasons {
		fmt.Fprintf(&b, "\n  %s %-8s %s", sign(r.Bits), r.Test, r.Text)
	}
	return b.String()
}

func sign(bits float64) string {
	switch {
	case bits > 0:
		return "+"
	case bits < 0:
		return "-"
	}
	return " "
}

func (e *Evidence) add(test string, bits float64, format string, args ...any) {
	e.Reasons = append(e.Reasons, Reason{test, bits, fmt.Sprintf(format, args...)})
}
