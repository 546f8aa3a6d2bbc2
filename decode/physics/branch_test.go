package physics

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestParallelBranches compares with worked examples by Kirchhoff's laws (any
// textbook of circuits): U = (sum E/R + I) / sum 1/R, I = (U - E)/R.
func TestParallelBranches(t *testing.T) {
	for _, c := range []struct {
		emf, milliohms []float64
		load           float64
		bar            string
		out            []string // A, positive while discharging, as in the examples
	}{
		{[]float64{52.8, 52.8, 52.8}, []float64{20, 25, 40}, 100, "51.93043", []string{"43.478", "34.783", "21.739"}},
		{[]float64{53.2, 52.8}, []float64{20, 30}, 0, "53.04000", []string{"8.000", "-8.000"}},
		{[]float64{53.2, 52.8}, []float64{20, 30}, 50, "52.44000", []string{"38.000", "12.000"}},
	} {
		var bs branches
		for i, e := range c.emf {
			bs = append(bs, branch{e, c.milliohms[i] / 1000, true, true})
		}
		u, ok := bs.bar(-c.load)
		if got := fmt.Sprintf("%.5f", u); got != c.bar || !ok {
			t.Errorf("%v at %g A: %s V, want %s V", c.emf, c.load, got, c.bar)
		}
		for i, want := range c.out {
			if got := fmt.Sprintf("%.3f", -bs[i].current(u)); got != want {
				t.Errorf("%v at %g A: branch %d gives %s A, want %s A", c.emf, c.load, i+1, got, want)
			}
		}
	}
}

// TestSwitchesLeaveOneWay works small cases by hand: 1 V over 1 ohm.
func TestSwitchesLeaveOneWay(t *testing.T) {
	for name, c := range map[string]struct {
		bs    branches
		total float64
		volts float64
		ok    bool
	}{
		"nothing drives the bar":                  {branches{{50, 1, false, false}}, 0, 0, true},
		"no way out":                              {branches{{50, 1, true, false}}, -1, 0, false},
		"no way in":                               {branches{{50, 1, false, true}}, 1, 0, false},
		"out by the one way":                      {branches{{50, 1, false, true}}, -1, 49, true},
		"in by the one way":                       {branches{{50, 1, true, false}}, 1, 51, true},
		"open voltage of what can give":           {branches{{50, 1, false, true}}, 0, 50, true},
		"a pack that only gives feeds one":        {branches{{52, 1, false, true}, {50, 1, true, true}}, 0, 51, true},
		"a pack that only takes is fed":           {branches{{52, 1, true, true}, {50, 1, true, false}}, 0, 51, true},
		"a pack that only takes does not give":    {branches{{52, 1, true, false}, {50, 1, true, true}}, -1, 49, true},
		"it takes once the bar is above":          {branches{{52, 1, true, false}, {50, 1, true, true}}, 4, 53, true},
		"a pack that only gives does not take":    {branches{{52, 1, true, true}, {50, 1, false, true}}, 1, 53, true},
		"an open pack is not there":               {branches{{52, 1, false, false}, {50, 1, true, true}}, -1, 49, true},
		"one can only give, the other only take":  {branches{{52, 1, true, false}, {50, 1, false, true}}, 0, 50, true},
		"and the other way round there is a flow": {branches{{52, 1, false, true}, {50, 1, true, false}}, 0, 51, true},
	} {
		volts, ok := c.bs.bar(c.total)
		if ok != c.ok || ok && math.Abs(volts-c.volts) > 1e-12 {
			t.Errorf("%s: %g V, %t; want %g V, %t", name, volts, ok, c.volts, c.ok)
		}
	}
}

func drawBranches(t *rapid.T) (bs branches) {
	for range rapid.IntRange(1, 8).Draw(t, "branches") {
		bs = append(bs, branch{
			emf:        float64(rapid.IntRange(450, 560).Draw(t, "emf")) / 10, // some are equal
			resistance: rapid.Float64Range(0.001, 0.1).Draw(t, "ohm"),
			charge:     rapid.Bool().Draw(t, "charge"), discharge: rapid.Bool().Draw(t, "discharge"),
		})
	}
	return bs
}

// TestCurrentsSumToTheLoad holds Kirchhoff's first law with any switches, and
// that a current is refused only if no branch lets it pass.
func TestCurrentsSumToTheLoad(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bs := drawBranches(t)
		total := rapid.Float64Range(-500, 500).Draw(t, "A")
		volts, ok := bs.bar(total)
		passable := total == 0
		for _, b := range bs {
			passable = passable || total > 0 && b.charge || total < 0 && b.discharge
		}
		if ok != passable {
			t.Fatalf("%g A: passes %t, want %t", total, ok, passable)
		}
		if sum := bs.current(volts); ok && math.Abs(sum-total) > 1e-8 {
			t.Fatalf("the currents sum to %g A, want %g A", sum, total)
		}
	})
}

// TestPowerIsMet holds that voltage times current is the power asked for, up to
// the most that sources behind a resistance can give: E²/4R.
func TestPowerIsMet(t *testing.T) {
	bs := branches{{52, 0.02, true, true}, {52, 0.02, true, true}}
	const most = 52 * 52 / (4 * 0.01)
	for _, watts := range []float64{0, 100, 5000, -100, -5000, -10000, -most, -2 * most} {
		volts, ok := bs.barOfPower(watts)
		got, want := volts*bs.current(volts), max(watts, -most)
		if !ok || math.Abs(got-want) > 1e-12*most {
			t.Errorf("%g W: %g W at %g V", watts, got, volts)
		}
	}
	taker := branches{{52, 1, true, false}}
	if _, ok := taker.barOfPower(-1); ok {
		t.Error("a pack that only takes gives power")
	}
	if volts, ok := taker.barOfPower(53); !ok || math.Abs(volts-53) > 1e-12 { // 53 V x 1 A
		t.Errorf("a pack that only takes is charged at %g V", volts)
	}
}
