package physics

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestExpIsExp compares with the mathematical library of Go.
func TestExpIsExp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-700, 700).Draw(t, "x")
		if got, want := exp(x), math.Exp(x); math.Abs(got-want) > 4e-16*want {
			t.Fatalf("exp(%g) is %g, want %g", x, got, want)
		}
		x /= 30
		if got, want := tanh(x), math.Tanh(x); math.Abs(got-want) > 4e-16 {
			t.Fatalf("tanh(%g) is %g, want %g", x, got, want)
		}
	})
}
