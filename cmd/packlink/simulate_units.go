package main

import (
	"fmt"
	"strings"

	"packlink/decode/pack"
	"packlink/decode/physics"
)

// units are who speaks at which address: each pack at its own, or one where the
// mapping has room for one only.
func (j *simulateJob) units(model *physics.Bank) (units []shownUnit) {
	if bus := j.table.Bus.Registers; bus != nil && bus.ModelsAt >= 0 {
		return []shownUnit{{unit: bankUnit, text: wholeBank}}
	}
	var s pack.Status
	for i := range model.Packs() {
		model.Status(i, &s)
		units = append(units, shownUnit{
			unit: s.Address, text: fmt.Sprintf("%s/%d", simulated, s.Address), source: simulated, address: s.Address, hasAddress: true,
		})
	}
	if j.table.OneOnABus() {
		return units[:1]
	}
	return units
}

// notShown is a line that says which packs nobody will see, and why; "" if all are seen.
func (j *simulateJob) notShown(model *physics.Bank) string {
	if !j.table.OneOnABus() || model.Packs() == 1 {
		return ""
	}
	var s pack.Status
	var left []string
	for i := 1; i < model.Packs(); i++ {
		model.Status(i, &s)
		left = append(left, fmt.Sprintf("pack %d", s.Address))
	}
	return fmt.Sprintf("  not shown: %s, as nothing in mapping %s says which of several packs on a bus is meant; into a capture each pack has a bus of its own\n",
		strings.Join(left, ", "), j.table.Name)
}
