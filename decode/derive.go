package decode

import (
	"packlink/decode/pack"
	"packlink/mapping"
)

// sight is what a derived field can look at: a bank and its packs, and the pack
// that the field speaks of, nil if it speaks of the bank.
type sight struct {
	whole *pack.Status
	packs []pack.Status
	pack  *pack.Status
}

// subject is what the field speaks of.
func (s *sight) subject() *pack.Status {
	if s.pack != nil {
		return s.pack
	}
	return s.whole
}

// beats is how many values a heartbeat has: 65535 says "not implemented".
const beats = 65535

// number works a figure out that is a number. turned says that the field counts
// the other way round, so that its greatest value is the quantity's least.
func (s *sight) number(d *mapping.Derivation, turned bool) (pack.Decimal, bool) {
	up, down := 1, -1
	if turned {
		up, down = -1, 1
	}
	switch d.Figure {
	case mapping.Same:
		return s.subject().Usable(d.Of)
	case mapping.Highest, mapping.HighestIn:
		return s.extreme(d, up)
	case mapping.Lowest, mapping.LowestIn:
		return s.extreme(d, down)
	case mapping.Mean:
		return s.mean(d.Of)
	case mapping.Amount:
		return s.amount(d.Of)
	case mapping.Depth:
		soc, known := s.subject().Usable(pack.SOC)
		depth, ok := pack.Int(100).Sub(soc)
		return depth, known && ok
	case mapping.Connected:
		return s.connectedPacks()
	case mapping.Heartbeat:
		return s.heartbeat()
	}
	return pack.Decimal{}, false
}

// each gives the values of a quantity: of the pack, or of each fresh pack with
// its number. Elements of a list that the pack itself lacks are left out. It is
// not ok if a value is not usable, or a pack gives none.
func (s *sight) each(q pack.Quantity, take func(v pack.Decimal, number int)) (ok bool) {
	if s.pack != nil {
		return eachOf(s.pack, q, 0, take)
	}
	fresh := false
	for i := range s.packs {
		if !s.packs[i].Fresh {
			continue
		}
		if !eachOf(&s.packs[i], q, i+1, take) {
			return false
		}
		fresh = true
	}
	return fresh
}

func eachOf(s *pack.Status, q pack.Quantity, number int, take func(v pack.Decimal, number int)) (ok bool) {
	if !q.Row().Kind.List() {
		v, known := s.Usable(q)
		take(v, number)
		return known
	}
	for _, v := range s.Elements(q) {
		switch v.Trust {
		case 0, pack.Missing:
		case pack.Known:
			take(v.Decimal(), number)
			ok = true
		default:
			return false
		}
	}
	return ok
}

// extreme is the value furthest in a direction (1 up, -1 down), or the number of
// its pack; of equal ones the first counts.
func (s *sight) extreme(d *mapping.Derivation, direction int) (pack.Decimal, bool) {
	var best pack.Decimal
	in, found := 0, false
	ok := s.each(d.Of, func(v pack.Decimal, number int) {
		if !found || v.Cmp(best) == direction {
			best, in, found = v, number, true
		}
	})
	if d.Figure == mapping.HighestIn || d.Figure == mapping.LowestIn {
		best = pack.Int(int64(in))
		ok = ok && in > 0
	}
	return best, ok
}

// mean is rounded to the finest place of its values, half away from zero.
func (s *sight) mean(q pack.Quantity) (pack.Decimal, bool) {
	var sum pack.Decimal
	n, fits, place := int64(0), true, int8(0)
	ok := s.each(q, func(v pack.Decimal, _ int) {
		var added bool
		sum, added = sum.Add(v)
		fits = fits && added
		place = min(place, v.Exp)
		n++
	})
	mean, divided := sum.Div(pack.Int(n), place)
	return mean, ok && fits && divided
}

// amount counts elements; of flags, those that are set.
func (s *sight) amount(q pack.Quantity) (pack.Decimal, bool) {
	n := int64(0)
	ok := s.each(q, func(v pack.Decimal, _ int) {
		if q.Row().Kind != pack.Flags || v.Coef != 0 {
			n++
		}
	})
	return pack.Int(n), ok
}

// connectedPacks counts the fresh packs that are connected, if each tells.
func (s *sight) connectedPacks() (pack.Decimal, bool) {
	n, fresh := int64(0), false
	for i := range s.packs {
		if !s.packs[i].Fresh {
			continue
		}
		connected, known := connection(&s.packs[i])
		if !known {
			return pack.Decimal{}, false
		}
		if connected {
			n++
		}
		fresh = true
	}
	return pack.Int(n), fresh
}

// heartbeat is the second of the newest measurement of any pack.
func (s *sight) heartbeat() (pack.Decimal, bool) {
	const second = 1_000_000_000
	newest := int64(0)
	for i := range s.packs {
		newest = max(newest, s.packs[i].NewestPresent())
	}
	return pack.Int(newest / second % beats), newest > 0
}

// word works a figure out that is a word; "" if it is not known.
func (s *sight) word(f mapping.Figure) string {
	switch f {
	case mapping.Flow:
		return flow(s.subject())
	case mapping.Connection:
		return connectionWord(connection(s.subject()))
	case mapping.Condition:
		return s.condition()
	case mapping.Severity:
		return severity(s.subject())
	}
	return ""
}

// flow is which way charge flows; without a current, what the state of charge
// tells.
func flow(s *pack.Status) string {
	current, known := s.Usable(pack.Current)
	soc, knownSOC := s.Usable(pack.SOC)
	switch {
	case !known:
		return ""
	case current.Coef > 0:
		return "charging"
	case current.Coef < 0:
		return "discharging"
	case knownSOC && soc.Cmp(pack.Int(100)) >= 0:
		return "full"
	case knownSOC && soc.Coef <= 0:
		return "empty"
	}
	return "resting"
}

// connection is whether a pack is connected: a current flows or is allowed. It
// is not known if the pack says nothing of either.
func connection(s *pack.Status) (connected, known bool) {
	current, flows := s.Usable(pack.Current)
	charge, saysCharge := s.Usable(pack.ChargeAllowed)
	discharge, saysDischarge := s.Usable(pack.DischargeAllowed)
	switch {
	case !s.Fresh:
		return false, false
	case flows && current.Coef != 0, saysCharge && charge.Coef != 0, saysDischarge && discharge.Coef != 0:
		return true, true
	}
	return false, saysCharge && saysDischarge
}

func connectionWord(connected, known bool) string {
	switch {
	case !known:
		return ""
	case connected:
		return "connected"
	}
	return "disconnected"
}

// faults are the kinds of alarms that make a bank faulty as a protection.
var faults = []string{"contactor_fault", "switch_fault", "short_circuit", "internal_fault"}

// condition is what the bank is doing. One connected pack connects it.
func (s *sight) condition() string {
	whole := s.subject()
	for _, kind := range faults {
		if active(whole, kind, "protection") {
			return "fault"
		}
	}
	if active(whole, "low_charge", "protection") {
		return "low_charge"
	}
	fresh, allTell := 0, true
	for i := range s.packs {
		if !s.packs[i].Fresh {
			continue
		}
		connected, known := connection(&s.packs[i])
		if connected {
			return connectionWord(true, true)
		}
		fresh++
		allTell = allTell && known
	}
	return connectionWord(false, allTell && fresh > 0)
}

func active(s *pack.Status, kind, level string) bool {
	a, _ := pack.ParseAlarm(kind, level)
	on, _ := s.Alarms.State(a)
	return on && !s.AlarmsStale
}

// severity is the gravest level among the active alarms. It is not known where
// nothing is said of alarms.
func severity(s *pack.Status) string {
	if s.Alarms.Known == 0 || s.AlarmsStale {
		return ""
	}
	word := "ok"
	for alarm := range s.Alarms.All() {
		if alarm.Level == pack.Protection {
			return "protection"
		}
		word = "warning"
	}
	return word
}
