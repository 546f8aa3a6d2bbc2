package scenario

import (
	"packlink/decode/pack"
	"packlink/decode/physics"
)

// readPack reads the design of pack number, counted from 1.
func readPack(r *reader, number int) physics.Design {
	cells := int(r.NeedInt("cells", 1, pack.MaxCells))
	capacity := 1.0
	r.needNumber("capacity_ah", &capacity, 0.1, 10000)
	d := physics.Typical(cells, capacity)
	d.Address = uint32(r.Int("address", int64(number), 0, 1<<32-1))
	d.Sensors = int(r.Int("sensors", int64(d.Sensors), 0, pack.MaxTemps))
	r.percent("soh_pct", &d.Health, 10, 120)
	r.percent("soc_pct", &d.Charge, 0, 100)
	r.number("cycles", &d.Cycles, 0, 1e6)
	r.number("charge_a", &d.ChargeLimit, 0, 1e6)
	r.number("discharge_a", &d.DischargeLimit, 0, 1e6)
	r.number("lead_ohm", &d.Lead, 0, 1)
	r.number("bleed_ohm", &d.Bleed, 1, 1e6)
	readCell(r, &d.Cell)
	r.inner("spread", "a spread", func(r *reader) { readSpread(r, &d.Spread) })
	r.inner("meter", "a current meter", func(r *reader) {
		r.number("gain", &d.Meter.Gain, -10, 10)
		r.number("offset_a", &d.Meter.Offset, -1000, 1000)
	})
	r.each("weak", "a weak cell", func(r *reader) { d.Weak = append(d.Weak, readWeak(r, cells)) })
	r.each("stuck", "a stuck sensor", func(r *reader) { d.Stuck = append(d.Stuck, readStuck(r, cells, d.Sensors)) })
	r.inner("names", "names", func(r *reader) { d.Names = readNames(r) })
	r.Done()
	return d
}

// readCell reads a cell's resistance, to which the later ones keep their
// relation, and its self-discharge.
func readCell(r *reader, c *physics.Cell) {
	before := c.Resistance
	r.number("cell_ohm", &c.Resistance, 0.00001, 1)
	c.Fast.Resistance *= c.Resistance / before
	c.Slow.Resistance *= c.Resistance / before
	r.percent("self_discharge_pct", &c.SelfDischarge, 0, 100)
}

// mostSpread is the greatest spread in percent.
const mostSpread = 15

func readSpread(r *reader, s *physics.Spread) {
	r.percent("capacity_pct", &s.Capacity, 0, mostSpread)
	r.percent("resistance_pct", &s.Resistance, 0, mostSpread)
	r.percent("self_discharge_pct", &s.SelfDischarge, 0, mostSpread)
	r.percent("soc_pct", &s.Charge, 0, mostSpread)
}

func readWeak(r *reader, cells int) physics.WeakCell {
	w := physics.WeakCell{Cell: int(r.NeedInt("cell", 1, int64(cells))), Resistance: 1, Capacity: 1}
	r.number("resistance", &w.Resistance, 0.01, 1000)
	r.number("capacity", &w.Capacity, 0.01, 10)
	return w
}

// readStuck reads which sensor is stuck: that of a cell or one of temperature.
func readStuck(r *reader, cells, sensors int) physics.StuckSensor {
	s := physics.StuckSensor{From: r.Duration("from")}
	if r.Get("temp") != nil {
		s.Temp = int(r.Int("temp", 0, 1, int64(sensors)))
		return s
	}
	s.Cell = int(r.NeedInt("cell", 1, int64(cells)))
	return s
}

func readNames(r *reader) map[pack.Quantity]string {
	names := make(map[pack.Quantity]string)
	for _, q := range []pack.Quantity{pack.Maker, pack.Model, pack.Serial, pack.Firmware, pack.Hardware} {
		text := r.Text(q.String())
		if len(text) > pack.MaxText {
			r.File.Report(r.Get(q.String()), RuleRange, "%q has %d bytes; a text has at most %d", q.String(), len(text), pack.MaxText)
		}
		if text != "" {
			names[q] = text
		}
	}
	return names
}
