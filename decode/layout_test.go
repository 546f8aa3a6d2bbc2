package decode_test

import (
	"slices"
	"testing"

	"packlink/decode"
	"packlink/decode/bank"
	"packlink/decode/pack"
)

// TestLayoutOfLists holds that each element of a list that is not known, or does not fit
// its register, is "not available" or missing by itself, and that none becomes 0.
func TestLayoutOfLists(t *testing.T) {
	const head = "{packlink: 1, name: test, title: t, source: [{title: s}], bus: {registers: {table: holding}}, messages: [{name: a, read: {from: 10, count: 4}, fields: ["
	const tail = "], examples: [{hex: 0000 0000 0000 0000, gives: {}, source: s}]}]}"
	const na = 0xFFFF
	var s pack.Status
	for i, mV := range []int64{3301, 3302, 70000} {
		s.PutElement(pack.Cells, i, pack.Value{Coef: mV, Exp: -3, At: 1, Trust: pack.Known})
	}
	s.Alarms.Set(pack.Alarm{}, true)
	for _, test := range []struct {
		field   string
		words   []uint16
		missing []bool
		errs    int
	}{
		{`{at: 0, as: u16, is: "cells_v[]", scale: 0.001, repeat: 4, missing: [0xFFFF]}`, []uint16{3301, 3302, na, na}, nil, 1},
		{`{at: 0, as: u16, is: "cells_v[]", scale: 0.001, repeat: 4}`, []uint16{3301, 3302, 0, 0}, []bool{false, false, true, true}, 1},
		{`{at: 0, as: u16, is: "temps_c[]", repeat: 4}`, []uint16{0, 0, 0, 0}, []bool{true, true, true, true}, 0},
		{`{at: 0, as: u16, repeat: 4, alarms: {1: [other, warning]}}`, []uint16{0, 0, 0, 0}, []bool{true, true, true, true}, 0},
	} {
		c := tableOf(t, head+test.field+tail)
		blocks, errs := decode.Layout(c, &s, nil)
		if !slices.Equal(blocks[0].Words, test.words) || !slices.Equal(blocks[0].Missing, test.missing) || len(errs) != test.errs {
			t.Errorf("%s: got %v, missing %v, %v; want %v, missing %v, %d errors", test.field, blocks[0].Words, blocks[0].Missing, errs, test.words, test.missing, test.errs)
		}
	}
}

// TestConnectionOfABank holds that a register of the whole bank says whether it is
// connected, as one of a pack does.
func TestConnectionOfABank(t *testing.T) {
	c := tableOf(t, `{packlink: 1, name: test, title: t, source: [{title: s}], bus: {registers: {table: holding}}, messages: [{name: a, read: {from: 0, count: 1},
fields: [{at: 0, as: u16, let: State, derive: connection, values: {1: disconnected, 2: connected}, missing: [0xFFFF]}], examples: [{hex: "0002", gives: {State: 2}, source: s}]}]}`)
	for name, test := range map[string]struct {
		fresh bool
		amps  int64
		want  uint16
	}{"charging": {true, 5, 2}, "nothing flows or is allowed": {true, 0, 1}, "not heard": {false, 5, 0xFFFF}} {
		p := pack.Status{Fresh: test.fresh}
		p.SetNumber(pack.Current, pack.Int(test.amps), 1)
		p.SetFlag(pack.ChargeAllowed, false, 1)
		p.SetFlag(pack.DischargeAllowed, false, 1)
		b := bank.Sum("bank", pack.Decimal{}, 1, []pack.Status{p})
		if blocks, errs := decode.Layout(c, &b.Whole, b.Packs); blocks[0].Words[0] != test.want || len(errs) > 0 {
			t.Errorf("%s: the register is %d, %v; want %d", name, blocks[0].Words[0], errs, test.want)
		}
	}
}
