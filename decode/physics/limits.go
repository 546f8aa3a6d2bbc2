package physics

// limitSeconds is how fast limits follow: slower than a charger, so that the
// two do not chase each other.
const limitSeconds = 10.0

// taper falls from 1 to 0 between two values.
type taper struct{ one, zero float64 }

// at is the taper at a value, 1 if that is not a number.
func (t taper) at(value float64) float64 {
	switch part := (value - t.zero) / (t.one - t.zero); {
	case part < 0:
		return 0
	case part < 1:
		return part
	}
	return 1
}

// The tapers of the current limits: common practice, no source.
var (
	fullTaper          = taper{3.50, 3.61} // V of the highest cell
	emptyTaper         = taper{3.00, 2.80} // V of the lowest cell
	coldChargeTaper    = taper{10, 0}      // degC
	warmChargeTaper    = taper{40, 50}
	coldDischargeTaper = taper{-10, -20}
	warmDischargeTaper = taper{50, 60}
)

// Voltages per cell in V: limits of the pack, and where it counts as full.
const (
	chargeVolts    = 3.55
	dischargeVolts = 2.80
	fullVoltsFrom  = 3.53
)

// chargeVoltageLimit is the voltage in V that charging must not exceed.
func (d *Design) chargeVoltageLimit() float64 { return chargeVolts * float64(d.Cells) }

// limit finds the most current in A that the pack allows each way. left is what
// is left of an old limit.
func (u *unit) limit(left float64) {
	f := &u.signs
	charge := float64(u.design.ChargeLimit * fullTaper.at(f.cellMax) * coldChargeTaper.at(f.tempMin) * warmChargeTaper.at(f.tempMax))
	if u.gauge.full {
		charge = 0
	}
	discharge := float64(u.design.DischargeLimit * emptyTaper.at(f.cellMin) * coldDischargeTaper.at(f.tempMin) * warmDischargeTaper.at(f.tempMax))
	u.chargeLimit = towards(u.chargeLimit, charge, left)
	u.dischargeLimit = towards(u.dischargeLimit, discharge, left)
	if u.open&opensCharge != 0 {
		u.chargeLimit = 0
	}
	if u.open&opensDischarge != 0 {
		u.dischargeLimit = 0
	}
}

// allowed are the limits in steps of 0.1 A, as the pack tells them.
func (u *unit) allowed() (charge, discharge int64) {
	return count(u.chargeLimit, 10), count(u.dischargeLimit, 10)
}
