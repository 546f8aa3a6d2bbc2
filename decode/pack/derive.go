package pack

// Derive adds what follows from what is known and trusted: power from voltage
// and current, the extremes of the cells and temperatures from their arrays,
// the spread from the extremes, rated energy from rated voltage and capacity. It
// never overwrites what the pack gave.
func (s *Status) Derive() {
	s.trimBalancing()
	s.deriveExtremes(Cells, CellMax, CellMaxAt, 1)
	s.deriveExtremes(Cells, CellMin, CellMinAt, -1)
	s.deriveExtremes(Temps, TempMax, Count, 1)
	s.deriveExtremes(Temps, TempMin, Count, -1)
	s.derive(CellSpread, CellMax, CellMin, Decimal.Sub)
	s.derive(Power, Voltage, Current, Decimal.Mul)
	s.derive(NominalEnergy, NominalVoltage, Nominal, Decimal.Mul)
}

// trimBalancing drops the flags of cells that are not there: a protocol has a
// bit for each cell it could have.
func (s *Status) trimBalancing() {
	cells := len(s.Elements(Cells))
	if cells == 0 {
		return
	}
	for i := len(s.balancing); i > cells && s.balancing[i-1].Coef == 0; i-- {
		s.balancing = s.balancing[:i-1]
	}
}

func (s *Status) derive(to, a, b Quantity, combine func(Decimal, Decimal) (Decimal, bool)) {
	va, vb := s.values[a], s.values[b]
	if s.values[to].Trust != 0 || va.Trust != Known || vb.Trust != Known {
		return
	}
	if d, ok := combine(va.Decimal(), vb.Decimal()); ok {
		s.SetNumber(to, d, min(va.At, vb.At))
	}
}

// deriveExtremes finds the element that is furthest in direction (1 up, -1
// down) and its place, counted from 1. One element that cannot be trusted
// leaves the extreme unknown, as it might be the one. at is Count where the
// catalogue has no place.
func (s *Status) deriveExtremes(list, extreme, at Quantity, direction int) {
	elements := s.Elements(list)
	if len(elements) == 0 || s.values[extreme].Trust != 0 && (at == Count || s.values[at].Trust != 0) {
		return
	}
	best := -1
	for i, v := range elements {
		switch {
		case v.Trust == 0 || v.Trust == Missing:
			continue
		case v.Trust != Known:
			return
		case best < 0 || v.Decimal().Cmp(elements[best].Decimal()) == direction:
			best = i
		}
	}
	if best < 0 {
		return
	}
	if given := s.values[extreme]; given.Trust == 0 {
		s.SetNumber(extreme, elements[best].Decimal(), elements[best].At)
	} else if given.Trust != Known || given.Decimal().Cmp(elements[best].Decimal()) != 0 {
		return
	}
	if at != Count && s.values[at].Trust == 0 {
		s.SetNumber(at, Int(int64(best+1)), elements[best].At)
	}
}
