package decode

import (
	"packlink/mapping"
)

// choose is the program of a payload among those that share its id, nil if it is
// of none.
func choose(p *mapping.Program, id uint32, payload []byte) *mapping.Program {
	if holds(p.Tests, payload) {
		return p
	}
	for _, rival := range p.Rivals {
		if rival.CAN.HasID(id) && holds(rival.Tests, payload) {
			return rival
		}
	}
	return nil
}

// holds tells whether a payload has the constants of a message, as far as it is
// long enough to tell.
func holds(tests []mapping.Test, payload []byte) bool {
	for i := range tests {
		t := &tests[i]
		mask := t.Mask
		if there := len(payload) - t.Start; there < 8 {
			mask &= 1<<(8*max(there, 0)) - 1
		}
		if (window(payload, t.Start)^t.Value)&mask != 0 {
			return false
		}
	}
	return true
}

// address is the address of the pack that a payload is about, and whether the
// message says one.
func address(p *mapping.Program, id uint32, payload []byte) (address uint32, has bool) {
	if op := p.AddressIn; op != nil {
		return uint32(raw(op, window(payload, op.Start))), true
	}
	return p.Address(id)
}
