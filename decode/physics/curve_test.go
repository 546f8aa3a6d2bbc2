package physics

import (
	"fmt"
	"math"
	"testing"
)

// TestCurveIsTheTable compares with the table that PyBaMM's parameter set
// Prada2013 gives for its cell of 2.3 Ah, to the digits given.
func TestCurveIsTheTable(t *testing.T) {
	for i, want := range []string{
		"2.0436", "2.7943", "2.9815", "3.1107", "3.1691", "3.1860", "3.2063", "3.2328", "3.2527", "3.2622", "3.2661",
		"3.2678", "3.2688", "3.2700", "3.2741", "3.2927", "3.3097", "3.3132", "3.3142", "3.3164", "3.5984",
	} {
		if got := fmt.Sprintf("%.4f", openCircuit(float64(i)/20)); got != want {
			t.Errorf("at %d %%: %s V, want %s V", 5*i, got, want)
		}
	}
}

// TestCurveRises holds that more charge is more voltage, beyond both ends too,
// and that the curve has no step where it becomes straight.
func TestCurveRises(t *testing.T) {
	const step = 1e-4
	last := openCircuit(-0.2 - step)
	for soc := -0.2; soc < 1.2; soc += step {
		v := openCircuit(soc)
		if v <= last || v-last > 40*step {
			t.Fatalf("at %.4f: %g V after %g V", soc, v, last)
		}
		last = v
	}
	if v := openCircuit(2); math.Abs(v-(fullVolts+fullSlope)) > 1e-9 {
		t.Errorf("twice full: %g V", v)
	}
}
