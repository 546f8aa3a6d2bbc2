package bank

import "packlink/decode/pack"

// Share is one pack's part of the bank's current. The trust of a value that is
// not known is 0, else it is pack.Known.
type Share struct {
	Source     string
	Address    uint32
	HasAddress bool
	Current    pack.Value // A, positive while charging
	Percent    pack.Value // of the bank's current, rounded to 0.1 %; above 100 or negative where currents circulate
}

// share writes the shares. Without the bank's current, or when it is 0, no
// pack has a percentage.
func (b *Bank) share() {
	sum, okSum := b.Whole.Usable(pack.Current)
	for i := range b.Packs {
		s, to := &b.Packs[i], &b.Shares[i]
		*to = Share{Source: s.Source, Address: s.Address, HasAddress: s.HasAddress}
		current, ok := s.Usable(pack.Current)
		if !ok {
			continue
		}
		at := s.Value(pack.Current).At
		to.Current = known(current, at)
		if percent, ok := percentage(current, sum); ok && okSum {
			to.Percent = known(percent, at)
		}
	}
}

func percentage(part, whole pack.Decimal) (pack.Decimal, bool) {
	hundredfold, ok := part.Mul(pack.Int(100))
	if !ok {
		return pack.Decimal{}, false
	}
	return hundredfold.Div(whole, toTenth)
}
