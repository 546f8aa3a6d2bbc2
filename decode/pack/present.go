package pack

// lasting are the quantities that say nothing of whether the pack is still
// there: names, ratings and counters, which some protocols give once an hour.
var lasting = map[Quantity]bool{
	Maker: true, Model: true, Serial: true, Firmware: true, Hardware: true, MadeOn: true, Modules: true, Packs: true, PacksFresh: true,
	SOH: true, Full: true, Nominal: true, NominalVoltage: true, NominalEnergy: true, Cycles: true,
}

// NewestPresent is when the newest value came that tells how the pack is now, in
// nanoseconds since the Unix epoch, be it overdue or not; 0 if none came.
func (s *Status) NewestPresent() (at int64) {
	for q := range Count {
		if s.values[q].Trust != 0 && q.OfPresent() {
			at = max(at, s.values[q].At)
		}
	}
	for _, list := range [][]Value{s.cells, s.temps, s.balancing} {
		for i := range list {
			at = max(at, list[i].At)
		}
	}
	return at
}

// OfPresent tells whether the quantity tells how a pack is now.
func (q Quantity) OfPresent() bool { return !lasting[q] }
