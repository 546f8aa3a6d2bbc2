package physics

import "packlink/decode/pack"

// opens are the switches that a protection opens.
type opens uint8

const (
	opensCharge opens = 1 << iota
	opensDischarge
)

// threshold is where something begins and where it ends, each after so many
// seconds: the ways there and back differ, so that it does not flutter.
type threshold struct {
	at, back             float64
	seconds, backSeconds float64
}

// guard watches one thing. It warns before it protects.
type guard struct {
	kind       string
	falls      bool // it begins below its threshold, not above
	of         func(f *signs) float64
	warning    threshold
	protection *threshold // nil if it only warns
	opens      opens
}

// guards are what a management system watches: common practice for iron
// phosphate cells, no source. Charging stops below 0 degC (lithium plating).
var guards = []guard{
	{"cell_overvoltage", false, func(f *signs) float64 { return f.cellMax },
		threshold{3.60, 3.55, 2, 5}, &threshold{3.65, 3.50, 2, 10}, opensCharge},
	{"cell_undervoltage", true, func(f *signs) float64 { return f.cellMin },
		threshold{2.90, 3.00, 2, 5}, &threshold{2.80, 3.05, 2, 10}, opensDischarge},
	{"charge_overcurrent", false, func(f *signs) float64 { return f.current / f.ratedCharge },
		threshold{1.05, 1, 1, 5}, &threshold{1.20, 1, 5, 60}, opensCharge},
	{"discharge_overcurrent", false, func(f *signs) float64 { return -f.current / f.ratedDischarge },
		threshold{0.95, 0.90, 1, 5}, &threshold{1.20, 1, 5, 60}, opensDischarge},
	{"charge_overtemperature", false, func(f *signs) float64 { return f.tempMax },
		threshold{45, 43, 5, 5}, &threshold{50, 45, 5, 30}, opensCharge},
	{"charge_undertemperature", true, func(f *signs) float64 { return f.tempMin },
		threshold{3, 4, 5, 5}, &threshold{0, 2, 5, 30}, opensCharge},
	{"discharge_overtemperature", false, func(f *signs) float64 { return f.tempMax },
		threshold{55, 52, 5, 5}, &threshold{60, 55, 5, 30}, opensDischarge},
	{"discharge_undertemperature", true, func(f *signs) float64 { return f.tempMin },
		threshold{-15, -13, 5, 5}, &threshold{-20, -17, 5, 30}, opensDischarge},
	{"switch_overtemperature", false, func(f *signs) float64 { return f.switches },
		threshold{80, 75, 5, 5}, &threshold{95, 75, 5, 30}, opensCharge | opensDischarge},
	{"cell_imbalance", false, func(f *signs) float64 { return f.cellMax - f.cellMin },
		threshold{0.3, 0.2, 10, 10}, nil, 0},
	{"low_charge", true, func(f *signs) float64 { return f.soc },
		threshold{10, 15, 5, 5}, nil, 0},
}

// latch is whether a threshold is passed, and for how long the value has
// spoken against that, in s.
type latch struct {
	on      bool
	against float64
}

// step brings the latch to a value that held for some seconds. One that is not
// a number speaks for neither.
func (l *latch) step(t *threshold, falls bool, value, seconds float64) {
	sign := 1.0
	if falls {
		sign = -1
	}
	past, needs := sign*value >= sign*t.at, t.seconds
	if l.on {
		past, needs = sign*value < sign*t.back, t.backSeconds
	}
	if !past {
		l.against = 0
		return
	}
	if l.against += seconds; l.against >= needs {
		l.on, l.against = !l.on, 0
	}
}

// watch is the state of a guard.
type watch struct {
	warning, protection latch
}

// guard brings every watch up to date and works the switches.
func (u *unit) guard(seconds float64) {
	open := opens(0)
	for i := range guards {
		g, w := &guards[i], &u.watches[i]
		value := g.of(&u.signs)
		w.warning.step(&g.warning, g.falls, value, seconds)
		if g.protection == nil {
			continue
		}
		if w.protection.step(g.protection, g.falls, value, seconds); w.protection.on {
			open |= g.opens
		}
	}
	u.open = open
}

// tripped tells whether a guard's protection is on.
func (u *unit) tripped(kind string) bool {
	for i := range guards {
		if guards[i].kind == kind {
			return u.watches[i].protection.on
		}
	}
	return false
}

// alarms are the states of all guards.
func (u *unit) alarms() (set pack.AlarmSet) {
	for i := range guards {
		g, w := &guards[i], &u.watches[i]
		set.Set(g.alarm("warning"), w.warning.on)
		if g.protection != nil {
			set.Set(g.alarm("protection"), w.protection.on)
		}
	}
	return set
}

func (g *guard) alarm(level string) pack.Alarm {
	a, _ := pack.ParseAlarm(g.kind, level)
	return a
}
