package physics

import (
	"fmt"

	"packlink/decode/pack"
)

// MaxPacks is the most packs of a bank.
const MaxPacks = 64

// check says what of the scenario cannot be simulated, in one sentence.
func (s *Scenario) check() error {
	if len(s.Packs) < 1 || len(s.Packs) > MaxPacks {
		return fmt.Errorf("scenario %q has %d packs; a bank has 1 to %d", s.Name, len(s.Packs), MaxPacks)
	}
	if !within(s.Ambient, -60, 80) || !within(s.Swing, 0, 40) {
		return fmt.Errorf("scenario %q: the surroundings have %g degC and swing by %g K; they can have -60 to 80 degC and swing by 0 to 40 K", s.Name, s.Ambient, s.Swing)
	}
	for i := range s.Packs {
		if why := s.Packs[i].fault(); why != "" {
			return fmt.Errorf("scenario %q: pack %d: %s", s.Name, i+1, why)
		}
	}
	for i, p := range s.Phases {
		if p.For < Resolution || p.Demand == nil || !p.Demand.possible() {
			return fmt.Errorf("scenario %q: phase %d takes less than %v, or asks for nothing or for what is beyond reason", s.Name, i+1, Resolution)
		}
	}
	return nil
}

// quantityRange is a number of a design and the values it can have.
type quantityRange struct {
	name        string
	value       float64
	least, most float64
}

func (d *Design) ranges() []quantityRange {
	c := &d.Cell
	return []quantityRange{
		{"the number of cells", float64(d.Cells), 1, pack.MaxCells},
		{"the number of temperature sensors", float64(d.Sensors), 0, pack.MaxTemps},
		{"the capacity in Ah", c.Capacity, 0.01, 1e5},
		{"the resistance of a cell in ohm", c.Resistance, 1e-6, 10},
		{"the resistance of the fast relaxation in ohm", c.Fast.Resistance, 0, 10},
		{"the resistance of the slow relaxation in ohm", c.Slow.Resistance, 0, 10},
		{"the time of the fast relaxation in s", c.Fast.Time.Seconds(), 0.001, 1e6},
		{"the time of the slow relaxation in s", c.Slow.Time.Seconds(), 0.001, 1e6},
		{"the self-discharge", c.SelfDischarge, 0, 1},
		{"the rise of resistance in the cold in K", c.ColdRise, 0, 10000},
		{"the heat capacity in J/K", c.HeatCapacity, 0.001, 1e9},
		{"the cooling in W/K", c.Cooling, 1e-6, 1e9},
		{"the spread of capacity", d.Spread.Capacity, 0, maxSpread},
		{"the spread of resistance", d.Spread.Resistance, 0, maxSpread},
		{"the spread of self-discharge", d.Spread.SelfDischarge, 0, maxSpread},
		{"the spread of charge", d.Spread.Charge, 0, maxSpread},
		{"the health", d.Health, 0.1, 1.2},
		{"the lead's resistance in ohm", d.Lead, 0, 10},
		{"the bleed resistor in ohm", d.Bleed, 0.1, 1e6},
		{"the gain of the current meter", d.Meter.Gain, -10, 10},
		{"the offset of the current meter in A", d.Meter.Offset, -1e4, 1e4},
		{"the charge limit in A", d.ChargeLimit, 0, 1e6},
		{"the discharge limit in A", d.DischargeLimit, 0, 1e6},
		{"the charge at the start", d.Charge, 0, 1},
		{"the number of cycles", d.Cycles, 0, 1e6},
	}
}

// fault says what of the design cannot be simulated, "" if nothing.
func (d *Design) fault() string {
	for _, r := range d.ranges() {
		if !within(r.value, r.least, r.most) {
			return fmt.Sprintf("%s is %g; it can be %g to %g", r.name, r.value, r.least, r.most)
		}
	}
	for _, w := range d.Weak {
		if w.Cell < 1 || w.Cell > d.Cells || !within(w.Resistance, 0.01, 1000) || !within(w.Capacity, 0.01, 10) {
			return fmt.Sprintf("the weak cell %d is not there, or its resistance (%g times) or capacity (%g times) is beyond reason", w.Cell, w.Resistance, w.Capacity)
		}
	}
	for _, s := range d.Stuck {
		if (s.Cell == 0) == (s.Temp == 0) || s.Cell < 0 || s.Cell > d.Cells || s.Temp < 0 || s.Temp > d.Sensors || s.From < 0 {
			return fmt.Sprintf("the stuck sensor (cell %d, temperature %d) is none of the pack's", s.Cell, s.Temp)
		}
	}
	for q, text := range d.Names {
		if q >= pack.Count || q.Row().Kind != pack.Word || len(text) > pack.MaxText {
			return fmt.Sprintf("quantity %d is no text, or its text has more than %d bytes", q, pack.MaxText)
		}
	}
	return ""
}

// within tells whether v lies in a range; not a number does not.
func within(v, least, most float64) bool { return v >= least && v <= most }
