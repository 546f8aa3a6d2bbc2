package physics

import "math/rand/v2"

// maxSpread is the greatest standard deviation among cells: six of them leave
// something of a capacity.
const maxSpread = 0.15

// normal is a random number with mean 0 and variance 1, between -6 and 6: the
// sum of twelve uniform ones less 6 (Irwin and Hall; common practice).
func normal(r *rand.Rand) float64 {
	sum := -6.0
	for range 12 {
		sum += float64(r.Float64())
	}
	return sum
}

// makeCells makes the cells of a design, which differ as its spread says. The
// number is that of the pack in the bank: a pack that is added changes no other.
func (d *Design) makeCells(seed uint64, number int, ambient float64) []cell {
	r := rand.New(rand.NewPCG(seed, uint64(number)))
	cells := make([]cell, d.Cells)
	for i := range cells {
		vary := func(spread float64) float64 { return 1 + float64(spread*normal(r)) }
		capacity := float64(d.Cell.Capacity*d.Health*secondsPerHour) * vary(d.Spread.Capacity)
		cells[i] = cell{
			capacity: capacity,
			factor:   vary(d.Spread.Resistance),
			leak:     float64(capacity*d.Cell.SelfDischarge/secondsPerMonth) * vary(d.Spread.SelfDischarge),
			charge:   capacity * (d.Charge + float64(d.Spread.Charge*normal(r))),
			temp:     ambient,
		}
	}
	for _, w := range d.Weak {
		c := &cells[w.Cell-1]
		c.factor *= w.Resistance
		c.charge *= w.Capacity
		c.capacity *= w.Capacity
	}
	return cells
}

const (
	secondsPerHour  = 3600
	secondsPerMonth = 30 * 24 * 3600
)
