package physics

import (
	"math"
	"time"
)

// readings are what a management system measures, as whole multiples of what
// its converters tell apart.
type readings struct {
	cells    []int64 // mV
	temps    []int64 // 0.1 degC
	voltage  int64   // 10 mV
	current  int64   // 10 mA
	switches int64   // 0.1 degC
	ambient  int64   // 0.1 degC
}

// leastCurrent is the current in 10 mA below which the pack counts as at rest.
const leastCurrent = 50

// count is how many steps of a converter a value is.
func count(value, perUnit float64) int64 { return int64(math.Round(value * perUnit)) }

// read measures the pack. A stuck sensor keeps what it read before.
func (u *unit) read(ambient float64, since time.Duration) {
	r, volts := &u.readings, 0.0
	for i := range u.cells {
		volts += u.cells[i].voltage
		if !u.stuck(StuckSensor{Cell: i + 1, From: since}) {
			r.cells[i] = count(u.cells[i].voltage, 1000)
		}
	}
	for i := range r.temps {
		if !u.stuck(StuckSensor{Temp: i + 1, From: since}) {
			r.temps[i] = count(u.cells[i*len(u.cells)/len(r.temps)].temp, 10)
		}
	}
	r.voltage = count(volts, 100)
	r.current = count(u.metered(), 100)
	r.switches = count(ambient+u.switchRise, 10)
	r.ambient = count(ambient, 10)
}

// stuck tells whether a sensor is stuck at the time in From.
func (u *unit) stuck(sensor StuckSensor) bool {
	for _, s := range u.design.Stuck {
		if s.Cell == sensor.Cell && s.Temp == sensor.Temp && sensor.From > s.From {
			return true
		}
	}
	return false
}

// metered is the current in A as the pack's sensor shows it.
func (u *unit) metered() float64 {
	return float64(u.design.Meter.Gain*u.current) + u.design.Meter.Offset
}

func extremes(list []int64) (least, most int64) {
	least, most = list[0], list[0]
	for _, v := range list[1:] {
		least, most = min(least, v), max(most, v)
	}
	return least, most
}

// signs are what decisions rest on, in V, A, degC and percent, by the readings. A
// temperature is not a number if the pack has no sensor.
type signs struct {
	cellMax, cellMin, voltage, current, tempMax, tempMin, switches, soc, ratedCharge, ratedDischarge float64
}

// find takes the signs from the readings.
func (u *unit) find() {
	r, f := &u.readings, &u.signs
	low, high := extremes(r.cells)
	*f = signs{
		cellMin: float64(low) / 1000, cellMax: float64(high) / 1000,
		voltage: float64(r.voltage) / 100, current: float64(r.current) / 100,
		tempMin: math.NaN(), tempMax: math.NaN(), switches: float64(r.switches) / 10,
		soc: u.gauge.soc(), ratedCharge: u.design.ChargeLimit, ratedDischarge: u.design.DischargeLimit,
	}
	if len(r.temps) > 0 {
		cold, warm := extremes(r.temps)
		f.tempMin, f.tempMax = float64(cold)/10, float64(warm)/10
	}
}
