package physics

import "time"

// Phase is a time in which one thing is asked of the bank.
type Phase struct {
	For    time.Duration
	Demand Demand
}

func (p *Phase) bar(b *Bank, into time.Duration) (volts float64, ok bool) {
	return p.Demand.bar(b, into, p.For)
}

// Demand is what a phase asks of the bank: [Current], [Power], [Charge] or [Day].
type Demand interface {
	// bar is the voltage of the bank's bar in V that it brings about, so far into
	// the phase. It is not ok if the packs' switches let nothing pass.
	bar(b *Bank, into, length time.Duration) (volts float64, ok bool)
	// possible tells whether its numbers are within reason.
	possible() bool
}

// The most that a demand can ask for.
const (
	mostAmperes = 1e6
	mostVolts   = 1e5
	mostWatts   = 1e9
)

// Current asks for a current in A that goes evenly from From to To, positive
// while charging, whatever the packs allow. The zero value is rest.
type Current struct{ From, To float64 }

func (c Current) bar(b *Bank, into, length time.Duration) (float64, bool) {
	part := into.Seconds() / length.Seconds()
	return b.branches.bar(c.From + float64((c.To-c.From)*part))
}

func (c Current) possible() bool {
	return within(c.From, -mostAmperes, mostAmperes) && within(c.To, -mostAmperes, mostAmperes)
}

// Power asks for a power in W, positive while charging, whatever the packs allow.
type Power struct{ Watts float64 }

func (p Power) bar(b *Bank, _, _ time.Duration) (float64, bool) {
	return b.branches.barOfPower(p.Watts)
}

func (p Power) possible() bool { return within(p.Watts, -mostWatts, mostWatts) }

// Charge is a charger that obeys the packs: a constant current in A, then a
// constant voltage in V, neither above what the packs allow. With 0 V the
// voltage is what the packs allow.
type Charge struct{ Amperes, Volts float64 }

func (c Charge) bar(b *Bank, _, _ time.Duration) (float64, bool) {
	return b.chargeAtMost(c.Amperes, c.Volts)
}

func (c Charge) possible() bool {
	return within(c.Amperes, 0, mostAmperes) && within(c.Volts, 0, mostVolts)
}

// Day is a house with the sun on its roof: what the sun gives beyond what the
// house takes is charged, and what is missing is drawn, both as far as the
// packs allow. The sun shines from Rise to Set, times since midnight UTC, and
// gives Sun at the most; the house takes House. Both are in W.
type Day struct {
	Sun, House float64
	Rise, Set  time.Duration
}

func (d Day) possible() bool {
	return within(d.Sun, 0, mostWatts) && within(d.House, 0, mostWatts) && 0 <= d.Rise && d.Rise < d.Set && d.Set <= day
}

func (d Day) bar(b *Bank, _, _ time.Duration) (float64, bool) {
	surplus := float64(d.Sun*arch(b.ofDay(0)-d.Rise, d.Set-d.Rise)) - d.House
	volts, ok := b.branches.barOfPower(surplus)
	if !ok {
		return 0, false
	}
	if amperes := surplus / volts; amperes > 0 {
		return b.chargeAtMost(amperes, 0)
	}
	_, discharge, _ := b.allowed()
	return b.branches.bar(max(surplus/volts, -discharge))
}

// chargeAtMost charges with a current and to a voltage, neither above what the
// packs allow; 0 V is what they allow.
func (b *Bank) chargeAtMost(amperes, volts float64) (float64, bool) {
	charge, _, highest := b.allowed()
	if volts == 0 || volts > highest {
		volts = highest
	}
	amperes = min(amperes, charge, b.branches.current(volts))
	return b.branches.bar(max(0, amperes))
}

// allowed is what the packs allow together: the least current limit in A of
// those that allow any, for each of them, and the lowest voltage limit in V.
func (b *Bank) allowed() (charge, discharge, volts float64) {
	var charging, discharging permits
	for i, u := range b.packs {
		in, out := u.allowed()
		charging.add(in)
		discharging.add(out)
		if limit := u.design.chargeVoltageLimit(); i == 0 || limit < volts {
			volts = limit
		}
	}
	return charging.total(), discharging.total(), volts
}

// permits are the current limits of packs that allow any current.
type permits struct{ packs, least int64 }

func (p *permits) add(limit int64) {
	if limit > 0 {
		if p.packs++; p.packs == 1 || limit < p.least {
			p.least = limit
		}
	}
}

// total is the limit of all in A, if they share evenly.
func (p *permits) total() float64 { return float64(p.packs*p.least) / 10 }
