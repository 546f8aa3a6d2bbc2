package decode

import (
	"fmt"
	"slices"
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
	Test    string  // "frames", "messages", "lengths", "values", "cells" or "periods"
	Bits    float64 // for the mapping; negative: against it
	Text    string
	Refutes bool // whatever else speaks for the mapping, it is another one
}

// Bits is the sum of all reasons: 2 to its power is how much rarer other
// traffic would look like this.
func (e *Evidence) Bits() (sum float64) {
	for _, r := range e.Reasons {
		sum += r.Bits
	}
	return sum
}

// refuted is the reason why it is another mapping, nil if there is none.
func (e *Evidence) refuted() *Reason {
	i := slices.IndexFunc(e.Reasons, func(r Reason) bool { return r.Refutes })
	if i < 0 {
		return nil
	}
	return &e.Reasons[i]
}

// Sure tells whether the evidence, taken alone, is enough to choose the mapping.
func (e *Evidence) Sure() bool {
	if e.refuted() != nil {
		return false
	}
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
	e.Reasons = append(e.Reasons, Reason{Test: test, Bits: bits, Text: fmt.Sprintf(format, args...)})
}

// refute makes the newest reason one that refutes the mapping.
func (e *Evidence) refute() { e.Reasons[len(e.Reasons)-1].Refutes = true }
