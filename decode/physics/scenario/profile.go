package scenario

import (
	"time"

	"packlink/decode/physics"
)

// The most that a phase can ask for.
const (
	mostAmperes = 100_000
	mostWatts   = 10_000_000
	mostVolts   = 2000
)

// demands read what a phase asks for, by its "do".
var demands = map[string]func(r *reader) physics.Demand{
	"rest":   func(*reader) physics.Demand { return physics.Current{} },
	"load":   readLoad,
	"charge": readCharge,
	"ramp":   readRamp,
	"day":    readDay,
}

func readPhase(r *reader) (p physics.Phase) {
	do := r.NeedChoice("do", "rest", "load", "charge", "ramp", "day")
	p.For = r.Duration("for")
	if n := r.Need("for"); p.For > 0 && p.For < physics.Resolution {
		r.File.Report(n, RuleRange, "a phase takes at least %v; this is %s", physics.Resolution, n.Text)
	}
	if read := demands[do]; read != nil {
		p.Demand = read(r)
		r.Done()
	}
	return p
}

// readLoad reads a load of so many ampere or watt, magnitudes.
func readLoad(r *reader) physics.Demand {
	var amperes, watts float64
	if r.Get("power_w") != nil {
		r.number("power_w", &watts, 0, mostWatts)
		return physics.Power{Watts: -watts}
	}
	r.needNumber("current_a", &amperes, 0, mostAmperes)
	return physics.Current{From: -amperes, To: -amperes}
}

func readCharge(r *reader) physics.Demand {
	var c physics.Charge
	r.needNumber("current_a", &c.Amperes, 0, mostAmperes)
	r.number("voltage_v", &c.Volts, 0, mostVolts)
	return c
}

func readRamp(r *reader) physics.Demand {
	var c physics.Current
	r.needNumber("from_a", &c.From, -mostAmperes, mostAmperes)
	r.needNumber("to_a", &c.To, -mostAmperes, mostAmperes)
	return c
}

func readDay(r *reader) physics.Demand {
	d := physics.Day{Rise: 6 * time.Hour, Set: 20 * time.Hour}
	r.needNumber("sun_w", &d.Sun, 0, mostWatts)
	r.needNumber("house_w", &d.House, 0, mostWatts)
	if given := r.Duration("sunrise"); given > 0 {
		d.Rise = given
	}
	if given := r.Duration("sunset"); given > 0 {
		d.Set = given
	}
	if d.Rise >= d.Set {
		r.File.Report(r.Node, RuleRange, "the sun sets at %v, before it rises at %v", d.Set, d.Rise)
	}
	return d
}
