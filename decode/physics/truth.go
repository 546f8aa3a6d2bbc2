package physics

// Truth is how a pack really is, beside what its management says. Charges are
// in Ah.
type Truth struct {
	Bar             float64 // V at the bank's bar, in the last step; 0 if nothing drives it
	Voltage         float64 // V of the cells together
	Current         float64 // A in the last step, positive while charging
	Charged         float64 // what flowed in since the start
	Discharged      float64 // what flowed out since the start
	ChargeSwitch    bool    // closed: current can flow in
	DischargeSwitch bool    // closed: current can flow out
	Cells           []CellTruth
}

// CellTruth is how a cell really is. Charges are in Ah.
type CellTruth struct {
	Voltage     float64 // V at its terminals
	OpenCircuit float64 // V that it comes to after a long rest
	Charge      float64 // what it holds
	Capacity    float64 // what it holds when full
	Resistance  float64 // ohm, what acts at once, at its temperature
	Temp        float64 // degC
	Leaked      float64 // what leaked away since the start
	Bled        float64 // what balancing took since the start
}

// Truth is how pack i, from 0, really is at the present instant.
func (b *Bank) Truth(i int) Truth {
	u := b.packs[i]
	t := Truth{
		Bar: b.bar, Current: u.current,
		Charged: u.charged / secondsPerHour, Discharged: u.discharged / secondsPerHour,
		ChargeSwitch: u.open&opensCharge == 0, DischargeSwitch: u.open&opensDischarge == 0,
		Cells: make([]CellTruth, len(u.cells)),
	}
	for k := range u.cells {
		c := &u.cells[k]
		t.Voltage += c.voltage
		t.Cells[k] = CellTruth{
			Voltage: c.voltage, OpenCircuit: openCircuit(c.charge / c.capacity),
			Charge: c.charge / secondsPerHour, Capacity: c.capacity / secondsPerHour,
			Resistance: c.resistance, Temp: c.temp,
			Leaked: c.leakedAway / secondsPerHour, Bled: c.bledAway / secondsPerHour,
		}
	}
	return t
}
