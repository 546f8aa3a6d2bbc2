package bank

import "packlink/decode/pack"

// direction is one way the current can flow, and what permits it.
type direction struct{ allowed, limit pack.Quantity }

var directions = [...]direction{
	{pack.ChargeAllowed, pack.ChargeCurrentLimit},
	{pack.DischargeAllowed, pack.DischargeCurrentLimit},
}

// wishes are what a bank asks for as soon as one of its packs does.
var wishes = [...]pack.Quantity{pack.FullChargeWanted, pack.ChargeNowWanted}

// permit writes what the bank allows and asks for. Without a fresh pack it
// allows nothing: 0 A and "not allowed", listed as stale if there were packs.
func permit(w *pack.Status, fresh []member, packs int) {
	withdrawn := pack.Value{At: w.Now, Trust: pack.Known}
	if packs > 0 {
		withdrawn.Trust |= pack.Stale
	}
	for _, d := range directions {
		if len(fresh) == 0 {
			w.Put(d.allowed, withdrawn)
			w.Put(d.limit, withdrawn)
			continue
		}
		if allowed, stated := d.allAllow(fresh); stated {
			w.SetFlag(d.allowed, allowed, w.Time)
		}
		if limit, ok := d.bankLimit(fresh); ok {
			w.SetNumber(d.limit, limit, w.Time)
		}
	}
	for _, q := range wishes {
		if wanted, stated := anyWants(fresh, q); stated {
			w.SetFlag(q, wanted, w.Time)
		}
	}
}

// allows is whether a pack allows the direction, and whether it says so. A
// statement that is overdue or cannot be trusted is "not allowed".
func (d direction) allows(s *pack.Status) (allowed, stated bool) {
	yes, ok := s.Usable(d.allowed)
	return ok && yes.Coef != 0, s.Value(d.allowed).Trust != 0
}

// allAllow is whether every pack allows the direction. It is stated if all packs
// say so, or if one says no.
func (d direction) allAllow(fresh []member) (allowed, stated bool) {
	allowed, stated = true, true
	for _, m := range fresh {
		yes, says := d.allows(m.Status)
		if says && !yes {
			return false, true
		}
		stated = stated && says
	}
	return allowed, stated
}

// packLimit is the most current a pack permits, in A. It is 0 for a pack that
// does not allow the direction. A negative limit is no magnitude, and unknown.
func (d direction) packLimit(s *pack.Status) (limit pack.Decimal, ok bool) {
	if allowed, stated := d.allows(s); stated && !allowed {
		return pack.Int(0), true
	}
	limit, ok = s.Usable(d.limit)
	return limit, ok && limit.Coef >= 0
}

// bankLimit is the number of fresh packs times the smallest of their limits:
// packs in parallel share about equally, so none is driven past its own limit.
// There is none if a pack gives no limit, unless another permits nothing.
func (d direction) bankLimit(fresh []member) (pack.Decimal, bool) {
	var smallest pack.Decimal
	found, all := false, true
	for _, m := range fresh {
		limit, ok := d.packLimit(m.Status)
		all = all && ok
		if ok && (!found || limit.Cmp(smallest) < 0) {
			smallest, found = limit, true
		}
	}
	if !found || !all && smallest.Coef != 0 {
		return pack.Decimal{}, false
	}
	return smallest.Mul(pack.Int(int64(len(fresh))))
}

func anyWants(fresh []member, q pack.Quantity) (wanted, stated bool) {
	for _, m := range fresh {
		if yes, ok := m.Usable(q); ok {
			wanted, stated = wanted || yes.Coef != 0, true
		}
	}
	return wanted, stated
}
