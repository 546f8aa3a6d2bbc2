package main

import (
	"slices"
	"strings"
	"testing"

	"packlink/decode/pack"
)

// TestListsHaveTheSameDecimals wants each value of a list with the decimals of the
// finest, and a power with three at most.
func TestListsHaveTheSameDecimals(t *testing.T) {
	s := pack.Status{Fresh: true}
	for i, millivolts := range []int64{3300, 3301, 3290, 3310} {
		s.PutElement(pack.Cells, i+i/2, pack.Value{Coef: millivolts, Exp: -3, Trust: pack.Known})
	}
	s.Put(pack.Power, pack.Value{Coef: -7135872, Exp: -4, Trust: pack.Known})
	lines := packLines(&s, 80)
	if want := "  cells 1   3.300   3.301   -       3.290v  3.310^"; !slices.Contains(lines, want) {
		t.Errorf("no line is %q:\n%s", want, strings.Join(lines, "\n"))
	}
	if text := strings.Join(lines, "\n"); !strings.Contains(text, "power -713.587 W") {
		t.Errorf("the power is not rounded:\n%s", text)
	}
}
