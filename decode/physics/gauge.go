package physics

// The pack is full when its cells have reached their voltage and take less
// than this part of their capacity in an hour, for so many seconds; it charges
// again below a state of charge in percent. Common practice, no source.
const (
	fullTail    = 0.05
	fullSeconds = 30
	refillBelow = 97
)

// gauge counts charge as the management system does: it knows the current only
// by its sensor, and the truth only when the pack is full or empty.
type gauge struct {
	counted   float64 // As that it takes to be left
	capacity  float64 // As that it takes for a full charge
	used      float64 // As that went out, since new
	full      bool
	fullFor   float64 // s that the signs of a full charge have lasted
	sinceFull float64 // s
}

func newGauge(d *Design) gauge {
	rated := d.Cell.Capacity * secondsPerHour
	return gauge{
		counted:  rated * d.Health * d.Charge,
		capacity: rated * d.Health,
		used:     rated * d.Health * d.Cycles,
	}
}

// soc is the state of charge in percent, as the gauge takes it to be.
func (g *gauge) soc() float64 { return 100 * g.counted / g.capacity }

// count counts a current in A that was measured for some seconds.
func (g *gauge) count(current, seconds float64) {
	g.counted = max(0, min(g.counted+float64(current*seconds), g.capacity))
	g.used += max(0, -current*seconds)
	g.sinceFull += seconds
}

// correct takes the pack for full if it has looked so for long enough.
func (g *gauge) correct(looksFull bool, seconds float64) {
	if !looksFull {
		g.fullFor = 0
	} else if g.fullFor += seconds; g.fullFor >= fullSeconds {
		g.full, g.counted, g.sinceFull = true, g.capacity, 0
	}
	if g.full && g.soc() < refillBelow {
		g.full = false
	}
}

// empty says that the pack is empty, whatever was counted.
func (g *gauge) empty() { g.counted = 0 }

// looksFull tells whether the readings are those of a full charge.
func (u *unit) looksFull() bool {
	f := &u.signs
	high := f.voltage >= fullVoltsFrom*float64(len(u.cells)) || f.cellMax >= fullTaper.zero-0.02
	return high && f.current >= 0 && f.current <= fullTail*u.design.Cell.Capacity
}
