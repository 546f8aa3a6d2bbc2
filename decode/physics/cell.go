package physics

// cell is one cell: what it is, and how it is now.
type cell struct {
	capacity float64 // As
	factor   float64 // its resistances against the design's
	leak     float64 // A of self-discharge

	charge     float64 // As
	fast, slow float64 // V across the two relaxations
	temp       float64 // degC
	bled       float64 // A through its balancing resistor
	leakedAway float64 // As since the start
	bledAway   float64 // As since the start

	resistance float64 // ohm, what acts at once, at the present temperature
	inner      float64 // V behind that resistance
	voltage    float64 // V at the terminals
}

// coldFactor is what resistances at a temperature in degC are against those at
// 25 degC: Arrhenius' law.
func (d *Cell) coldFactor(temp float64) float64 {
	const zero, reference = 273.15, 298.15
	return exp(d.ColdRise * (1/(temp+zero) - 1/reference))
}

// emf is the cell's voltage in V when the pack carries no current.
func (c *cell) emf() float64 { return c.inner - float64(c.resistance*c.bled) }

// settle finds what the cell shows, from how it is, while the pack carries a
// current in A.
func (c *cell) settle(d *Cell, current float64) {
	c.resistance = d.Resistance * c.factor * d.coldFactor(c.temp)
	c.inner = openCircuit(c.charge/c.capacity) + c.fast + c.slow
	c.voltage = c.emf() + float64(c.resistance*current)
}

// step lets the pack's current flow for a time. It is exact for a constant
// current, whatever the time, but for the change of resistance and leaks in it.
func (c *cell) step(d *Cell, current float64, t *decay, ambient float64) {
	own := current - c.bled
	scale := c.resistance / d.Resistance
	heat := float64(own*own*c.resistance) + heatOf(c.fast, d.Fast, scale) + heatOf(c.slow, d.Slow, scale)
	c.charge += float64((own - c.leak) * t.seconds)
	c.leakedAway += float64(c.leak * t.seconds)
	c.bledAway += float64(c.bled * t.seconds)
	c.fast = towards(c.fast, float64(d.Fast.Resistance*scale*own), t.fast)
	c.slow = towards(c.slow, float64(d.Slow.Resistance*scale*own), t.slow)
	c.temp = towards(c.temp, ambient+heat/d.Cooling, t.heat)
	c.settle(d, current)
}

// heatOf is the heat in W of a relaxation with a voltage across it.
func heatOf(volts float64, r Relaxation, scale float64) float64 {
	if r.Resistance == 0 {
		return 0
	}
	return volts * volts / (r.Resistance * scale)
}

// decay is what a step of some length leaves of each difference that fades.
type decay struct {
	seconds                           float64
	fast, slow, heat, switches, limit float64
}

func (t *decay) set(seconds float64, d *Cell) {
	if t.seconds == seconds {
		return
	}
	left := func(time float64) float64 { return exp(-min(seconds/time, 700)) }
	*t = decay{
		seconds:  seconds,
		fast:     left(d.Fast.Time.Seconds()),
		slow:     left(d.Slow.Time.Seconds()),
		heat:     left(d.HeatCapacity / d.Cooling),
		switches: left(switchSeconds),
		limit:    left(limitSeconds),
	}
}

// towards moves a value to its final one; left is what is left of the difference.
func towards(from, to, left float64) float64 { return to + float64((from-to)*left) }
