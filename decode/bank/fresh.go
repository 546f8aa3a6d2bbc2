package bank

import "packlink/decode/pack"

// present are the quantities that tell how a pack is now. Names, ratings and
// counters are left out: some protocols give them once an hour, and they say
// nothing about whether the pack is still there.
var present = [...]pack.Quantity{
	pack.Voltage, pack.Current, pack.Power, pack.SOC, pack.Remaining, pack.RemainingEnergy,
	pack.CellMax, pack.CellMin, pack.CellSpread,
	pack.Temp, pack.TempMax, pack.TempMin, pack.TempSwitch, pack.TempAmbient,
	pack.ChargeVoltageLimit, pack.DischargeVoltageLimit,
	pack.ChargeCurrentLimit, pack.DischargeCurrentLimit,
	pack.ChargeAllowed, pack.DischargeAllowed,
}

// presentLists are the lists that tell how a pack is now.
var presentLists = [...]pack.Quantity{pack.Cells, pack.Temps}

// Fresh tells whether a pack is heard in time: whether at least one value that
// speaks of the present is usable and not overdue. An overdue permission is
// usable as "not allowed", and does not make a pack fresh.
func Fresh(s *pack.Status) bool {
	for _, q := range present {
		if _, ok := s.Usable(q); ok && !s.Stale(q) {
			return true
		}
	}
	for _, q := range presentLists {
		for _, v := range s.Elements(q) {
			if v.Trust == pack.Known {
				return true
			}
		}
	}
	return s.Alarms.Known != 0 && !s.AlarmsStale
}
