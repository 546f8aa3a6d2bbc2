package bank

import "packlink/decode/pack"

// The places that means are rounded to, as exponents of ten.
const (
	toMillivolt = -3
	toTenth     = -1
)

// totals are the quantities of which a bank has the sum of its packs'.
var totals = [...]pack.Quantity{pack.Current, pack.Power, pack.Remaining, pack.Full, pack.NominalEnergy, pack.RemainingEnergy}

// averages are the quantities of which a bank has the mean of its packs',
// weighted by capacity.
var averages = [...]pack.Quantity{pack.SOC, pack.SOH}

// result is the outcome of adding up values: the number, the time of the
// oldest value used, and whether there is a number.
type result struct {
	pack.Decimal
	at int64
	ok bool
}

func put(w *pack.Status, q pack.Quantity, r result) {
	if r.ok {
		w.SetNumber(q, r.Decimal, r.at)
	}
}

func measure(w *pack.Status, fresh []member, nominal pack.Decimal) {
	for _, q := range totals {
		put(w, q, total(fresh, q))
	}
	put(w, pack.Nominal, total(fresh, pack.Nominal))
	if nominal.Coef != 0 {
		w.SetNumber(pack.Nominal, nominal, w.Now)
	}
	put(w, pack.Voltage, meanVoltage(fresh))
	weight := weightOf(fresh)
	for _, q := range averages {
		put(w, q, weightedMean(fresh, q, weight))
	}
}

// total is the exact sum. There is none if one pack does not know its part:
// the sum of the others would look like the whole.
func total(fresh []member, q pack.Quantity) result {
	var sum result
	for i, m := range fresh {
		d, ok := m.Usable(q)
		if ok {
			d, ok = sum.Add(d)
		}
		if !ok {
			return result{}
		}
		sum = result{d, oldest(sum.at, m.Value(q).At, i == 0), true}
	}
	return sum
}

// oldest is the earlier of two times, or b if it is the first.
func oldest(a, b int64, first bool) int64 {
	if first {
		return b
	}
	return min(a, b)
}

// meanVoltage is the mean of the voltages that are known. The packs share a
// busbar, so each voltage speaks for all.
func meanVoltage(fresh []member) result {
	var sum result
	n := int64(0)
	for _, m := range fresh {
		d, ok := m.Usable(pack.Voltage)
		if !ok {
			continue
		}
		if d, ok = sum.Add(d); !ok {
			return result{}
		}
		sum = result{d, oldest(sum.at, m.Value(pack.Voltage).At, n == 0), true}
		n++
	}
	mean, ok := sum.Div(pack.Int(n), toMillivolt)
	return result{mean, sum.at, ok}
}

// weightOf is the capacity that every pack knows: the full, else the nominal,
// else pack.Count, which stands for equal weights.
func weightOf(fresh []member) pack.Quantity {
	for _, q := range [...]pack.Quantity{pack.Full, pack.Nominal} {
		all := true
		for _, m := range fresh {
			d, ok := m.Usable(q)
			all = all && ok && d.Coef > 0
		}
		if all {
			return q
		}
	}
	return pack.Count
}

// weightedMean is the mean over all packs. There is none if one pack does not
// know its part.
func weightedMean(fresh []member, q, weight pack.Quantity) result {
	var sum, weights result
	for i, m := range fresh {
		d, ok := m.Usable(q)
		if !ok {
			return result{}
		}
		w := pack.Int(1)
		if weight != pack.Count {
			w, _ = m.Usable(weight)
		}
		part, okPart := d.Mul(w)
		s, okSum := sum.Add(part)
		ws, okWeights := weights.Add(w)
		if !okPart || !okSum || !okWeights {
			return result{}
		}
		sum = result{s, oldest(sum.at, m.Value(q).At, i == 0), true}
		weights.Decimal = ws
	}
	mean, ok := sum.Div(weights.Decimal, toTenth)
	return result{mean, sum.at, ok}
}
