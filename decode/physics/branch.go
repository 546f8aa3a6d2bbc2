package physics

import "math"

// branch is a pack as its bank sees it: a source behind a resistance, and
// switches that let current pass one way, both ways or not at all.
type branch struct {
	emf        float64 // V
	resistance float64 // ohm
	charge     bool    // current can flow into the pack
	discharge  bool    // current can flow out of it
}

// current is the branch's current in A at a voltage of the bar.
func (b branch) current(bar float64) float64 {
	i := (bar - b.emf) / b.resistance
	if i > 0 && !b.charge || i < 0 && !b.discharge {
		return 0
	}
	return i
}

// branches are the packs of a bank, in parallel.
type branches []branch

// current is the sum of the currents in A at a voltage of the bar. It never
// falls as the voltage rises.
func (bs branches) current(bar float64) (sum float64) {
	for _, b := range bs {
		sum += b.current(bar)
	}
	return sum
}

// bar is the voltage at which the currents sum to total (Kirchhoff). It is not
// ok if the switches let no such current pass. A bar that nothing drives has 0 V.
func (bs branches) bar(total float64) (volts float64, ok bool) {
	sources, conductance := bs.line(total)
	if conductance == 0 {
		return 0, total == 0
	}
	return (sources + total) / conductance, true
}

// line is the sum of the currents near total as a straight line: conductance
// times the bar's voltage, less sources. Between two neighbouring source
// voltages the same branches conduct, so it is one there.
func (bs branches) line(total float64) (sources, conductance float64) {
	low, high := math.Inf(-1), math.Inf(1)
	for _, b := range bs {
		if bs.current(b.emf) < total {
			low = max(low, b.emf)
		} else {
			high = min(high, b.emf)
		}
	}
	for _, b := range bs {
		if b.emf <= low && b.charge || b.emf >= high && b.discharge {
			sources += b.emf / b.resistance
			conductance += 1 / b.resistance
		}
	}
	return sources, conductance
}

// barOfPower is the voltage of the bar at which its power is watts. A load that
// asks for more than the sources can give gets the most they can: it pulls the
// bar down to half its open voltage.
func (bs branches) barOfPower(watts float64) (volts float64, ok bool) {
	for _, b := range bs {
		volts = max(volts, b.emf)
	}
	if volts <= 0 {
		return 0, false
	}
	for range 4 { // one is exact where the switches let the same branches conduct
		sources, conductance := bs.line(watts / volts)
		if conductance == 0 {
			return 0, false
		}
		root := float64(sources*sources) + float64(4*conductance*watts)
		volts = (sources + math.Sqrt(max(root, 0))) / (2 * conductance)
	}
	return volts, true
}
