package pack

// lasting are the quantities that say nothing of whether the pack is still
// there: names, ratings and counters, which some protocols give once an hour.
var lasting = map[Quantity]bool{
	Maker: true, Model: true, Serial: true, Firmware: true, Hardware: true, Modules: true, Packs: true, PacksFresh: true,
	SOH: true, Full: true, Nominal: true, Cycles: true,
}

// OfPresent tells whether the quantity tells how a pack is now.
func (q Quantity) OfPresent() bool { return !lasting[q] }
