package bank

import "packlink/decode/pack"

// none stands for "there is no such quantity" in the table of extremes.
const none = pack.Count

// extreme says how to find one extreme value of a bank.
type extreme struct {
	of        pack.Quantity // the quantity, in the packs and in the bank
	direction int           // 1 for the highest, -1 for the lowest
	list      pack.Quantity // the list it comes from, or none
	instead   pack.Quantity // what a pack may give in its place, or none
	at        pack.Quantity // its place in the pack, or none
	in        pack.Quantity // the number of its pack, or none
}

// extremes are the extremes of a bank. The voltage limits are the safest of
// the packs': the lowest for charging, the highest for discharging.
var extremes = [...]extreme{
	{pack.CellMax, 1, pack.Cells, none, pack.CellMaxAt, pack.CellMaxPack},
	{pack.CellMin, -1, pack.Cells, none, pack.CellMinAt, pack.CellMinPack},
	{pack.TempMax, 1, pack.Temps, pack.Temp, none, none},
	{pack.TempMin, -1, pack.Temps, pack.Temp, none, none},
	{pack.ChargeVoltageLimit, -1, none, none, none, none},
	{pack.DischargeVoltageLimit, 1, none, none, none, none},
}

func findExtremes(w *pack.Status, fresh []member) {
	for i := range extremes {
		extremes[i].find(w, fresh)
	}
	highest, okHighest := w.Usable(pack.CellMax)
	lowest, okLowest := w.Usable(pack.CellMin)
	if spread, ok := highest.Sub(lowest); ok && okHighest && okLowest {
		w.SetNumber(pack.CellSpread, spread, min(w.Value(pack.CellMax).At, w.Value(pack.CellMin).At))
	}
}

// find writes the extreme over all packs that give it. A pack that never gives
// it is left out; one that gives it overdue or out of range leaves the bank's
// unknown, as it might be the one. Of equal values the first counts.
func (e *extreme) find(w *pack.Status, fresh []member) {
	var best pack.Value
	var holder member
	for _, m := range fresh {
		v := e.candidate(m.Status)
		if v.Trust == 0 {
			continue
		}
		if v.Trust != pack.Known {
			return
		}
		if holder.Status == nil || v.Decimal().Cmp(best.Decimal()) == e.direction {
			best, holder = v, m
		}
	}
	if holder.Status == nil {
		return
	}
	w.Put(e.of, best)
	if e.in != none {
		w.SetNumber(e.in, pack.Int(int64(holder.number)), best.At)
	}
	if e.at != none {
		if at, ok := holder.Usable(e.at); ok {
			w.SetNumber(e.at, at, holder.Value(e.at).At)
		}
	}
}

// candidate is a pack's own extreme. Its trust is 0 if the pack tells nothing,
// and other than pack.Known if it tells what cannot be used. A list without
// its extreme is such a case: one of its elements cannot be trusted.
func (e *extreme) candidate(s *pack.Status) pack.Value {
	if v := s.Value(e.of); v.Trust != 0 {
		return unmarked(v)
	}
	if e.list != none && s.Has(e.list) {
		return pack.Value{Trust: pack.Stale}
	}
	if e.instead != none {
		return unmarked(s.Value(e.instead))
	}
	return pack.Value{}
}

// unmarked is v without the number of the message, which means nothing in a bank.
func unmarked(v pack.Value) pack.Value {
	v.By = 0
	return v
}
