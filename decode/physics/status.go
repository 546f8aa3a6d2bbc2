package physics

import (
	"math"
	"time"

	"packlink/decode/pack"
)

// Status writes what pack i, from 0, says at the present instant. Source and
// Mapping stay as they are, for the caller to fill. Values that the modelled
// management system does not have are not known. It allocates nothing once s
// has its lists.
func (b *Bank) Status(i int, s *pack.Status) {
	u := b.packs[i]
	for q := range pack.Count {
		s.Clear(q)
	}
	s.Time, s.Now, s.Fresh = b.now, b.now, true
	s.Address, s.HasAddress = u.design.Address, true
	s.Alarms, s.AlarmsStale = u.alarms(), false
	w := writer{s, b.now}
	for q, text := range u.design.Names {
		s.PutText(q, []byte(text), w.known(pack.Decimal{}))
	}
	u.writeReadings(w)
	u.writeCharge(w)
	u.writePermissions(w)
	s.Derive()
}

// writer writes values of one instant.
type writer struct {
	*pack.Status
	at int64
}

func (w writer) known(d pack.Decimal) pack.Value {
	return pack.Value{Coef: d.Coef, Exp: d.Exp, At: w.at, Trust: pack.Known}
}

func (w writer) number(q pack.Quantity, coef int64, exp int8) {
	w.SetNumber(q, pack.Decimal{Coef: coef, Exp: exp}, w.at)
}

func (u *unit) writeReadings(w writer) {
	r := &u.readings
	w.number(pack.Modules, 1, 0)
	w.number(pack.Voltage, r.voltage, -2)
	w.number(pack.Current, r.current, -2)
	w.number(pack.TempSwitch, r.switches, -1)
	w.number(pack.TempAmbient, r.ambient, -1)
	for i, mV := range r.cells {
		w.PutElement(pack.Cells, i, w.known(pack.Decimal{Coef: mV, Exp: -3}))
		on := int64(0)
		if u.balancing[i] {
			on = 1
		}
		w.PutElement(pack.Balancing, i, w.known(pack.Int(on)))
	}
	sum := int64(0)
	for i, t := range r.temps {
		sum += t
		w.PutElement(pack.Temps, i, w.known(pack.Decimal{Coef: t, Exp: -1}))
	}
	if n := len(r.temps); n > 0 { // a pack that tells one temperature tells the mean
		w.number(pack.Temp, count(float64(sum)/float64(n), 1), -1)
	}
}

// cellNominal is the nominal voltage of a cell in tenths of V, by which a pack
// takes ampere-hours for watt-hours.
const cellNominal = 32

func (u *unit) writeCharge(w writer) {
	rated := u.design.Cell.Capacity
	remaining := count(u.gauge.counted/secondsPerHour, 100)
	w.number(pack.SOC, count(u.gauge.soc(), 10), -1)
	w.number(pack.SOH, count(u.design.Health, 1000), -1)
	w.number(pack.Remaining, remaining, -2)
	w.number(pack.Full, count(u.gauge.capacity/secondsPerHour, 100), -2)
	w.number(pack.Nominal, count(rated, 100), -2)
	w.number(pack.NominalVoltage, cellNominal*int64(len(u.cells)), -1)
	w.number(pack.NominalEnergy, count(rated, 100)*cellNominal*int64(len(u.cells)), -3)
	w.number(pack.RemainingEnergy, remaining*cellNominal*int64(len(u.cells)), -3)
	w.number(pack.Cycles, int64(u.gauge.used/u.gauge.capacity), 0)
	u.writeTimes(w)
}

// writeTimes gives the time until full or empty at the present current.
func (u *unit) writeTimes(w writer) {
	amperes := float64(u.readings.current) / 100
	switch {
	case u.readings.current >= leastCurrent:
		w.number(pack.TimeToFull, int64(math.Round((u.gauge.capacity-u.gauge.counted)/amperes)), 0)
	case u.readings.current <= -leastCurrent:
		w.number(pack.TimeToEmpty, int64(math.Round(u.gauge.counted/-amperes)), 0)
	}
}

// lowSOC is the state of charge in percent below which a pack asks to be charged.
const lowSOC = 5

func (u *unit) writePermissions(w writer) {
	charge, discharge := u.allowed()
	w.number(pack.ChargeVoltageLimit, count(u.design.chargeVoltageLimit(), 100), -2)
	w.number(pack.DischargeVoltageLimit, count(dischargeVolts*float64(len(u.cells)), 100), -2)
	w.number(pack.ChargeCurrentLimit, charge, -1)
	w.number(pack.DischargeCurrentLimit, discharge, -1)
	w.SetFlag(pack.ChargeAllowed, charge > 0, w.at)
	w.SetFlag(pack.DischargeAllowed, discharge > 0, w.at)
	w.SetFlag(pack.FullChargeWanted, u.gauge.sinceFull >= week.Seconds(), w.at)
	w.SetFlag(pack.ChargeNowWanted, u.gauge.soc() < lowSOC, w.at)
}

// week is after how long without a full charge a pack wants one.
const week = 7 * 24 * time.Hour
