package decode_test

import (
	"slices"
	"testing"

	"packlink/decode"
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
