package physics

import "time"

// switchSeconds and switchWarmth are how the switches warm: their time constant
// in s, and K for each square ampere per square ampere of the discharge limit.
const (
	switchSeconds = 120.0
	switchWarmth  = 25.0
)

// unit is one pack: its cells and its management system.
type unit struct {
	design     *Design
	cells      []cell
	current    float64 // A, what flowed in the last step
	charged    float64 // As that flowed in since the start
	discharged float64 // As that flowed out since the start
	switchRise float64 // K that the switches are warmer than the surroundings
	fade       decay

	readings       readings
	signs          signs
	gauge          gauge
	watches        []watch
	open           opens
	chargeLimit    float64 // A
	dischargeLimit float64 // A
	balancing      []bool
}

func newUnit(d *Design, seed uint64, number int, ambient float64) *unit {
	u := &unit{
		design: d, cells: d.makeCells(seed, number, ambient), gauge: newGauge(d),
		watches: make([]watch, len(guards)), balancing: make([]bool, d.Cells),
	}
	u.readings.cells, u.readings.temps = make([]int64, d.Cells), make([]int64, d.Sensors)
	for i := range u.cells {
		u.cells[i].settle(&d.Cell, 0)
	}
	u.manage(ambient, 0, 0)
	return u
}

// branch is the pack as its bank sees it now.
func (u *unit) branch() branch {
	b := branch{resistance: u.design.Lead, charge: u.open&opensCharge == 0, discharge: u.open&opensDischarge == 0}
	for i := range u.cells {
		b.emf += u.cells[i].emf()
		b.resistance += u.cells[i].resistance
	}
	return b
}

// step lets a current in A flow for some seconds. since is the time from the
// start to the end of the step.
func (u *unit) step(current, seconds, ambient float64, since time.Duration) {
	u.fade.set(seconds, &u.design.Cell)
	u.current = current
	u.charged += max(0, current*seconds)
	u.discharged += max(0, -current*seconds)
	for i := range u.cells {
		u.cells[i].step(&u.design.Cell, current, &u.fade, ambient)
	}
	if limit := u.design.DischargeLimit; limit > 0 {
		part := current / limit
		u.switchRise = towards(u.switchRise, float64(switchWarmth*part*part), u.fade.switches)
	}
	u.gauge.count(u.metered(), seconds)
	u.manage(ambient, seconds, since)
}

// manage is what the management system does after so many seconds: it measures,
// protects, corrects its count, sets its limits and balances.
func (u *unit) manage(ambient, seconds float64, since time.Duration) {
	const empty = "cell_undervoltage"
	u.read(ambient, since)
	u.find()
	wasEmpty := u.tripped(empty)
	u.guard(seconds)
	if !wasEmpty && u.tripped(empty) {
		u.gauge.empty()
	}
	u.gauge.correct(u.looksFull(), seconds)
	u.limit(u.fade.limit)
	u.balance()
}

// Cells are balanced from this voltage in V, if they are so much higher than
// the lowest one. Common practice, no source.
const (
	balanceFrom = 3.40
	balanceOver = 0.010
)

// balance bleeds the highest cells near full, while nothing is drawn.
func (u *unit) balance() {
	drawn := u.readings.current <= -leastCurrent
	for i := range u.cells {
		c, volts := &u.cells[i], float64(u.readings.cells[i])/1000
		u.balancing[i] = !drawn && volts >= balanceFrom && volts-u.signs.cellMin >= balanceOver
		c.bled = 0
		if u.balancing[i] {
			c.bled = c.voltage / u.design.Bleed
		}
	}
}
