package decode_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/library"
)

// covered is what reaches a reader, as text.
func covered(c *decode.Coverage) string {
	var b strings.Builder
	for _, r := range c.Reaches {
		fmt.Fprintf(&b, "%s/%s", r.Quantity, r.Step)
		if r.Short {
			fmt.Fprintf(&b, "[%s,%s]", r.Least, r.Most)
		}
		if r.Elements > 0 {
			fmt.Fprintf(&b, "*%d", r.Elements)
		}
		b.WriteByte(' ')
	}
	for _, q := range c.Lost {
		fmt.Fprintf(&b, "-%s ", q)
	}
	for _, u := range c.Unsent {
		fmt.Fprintf(&b, "!%s:%v ", u.Message, u.Why)
	}
	for a := range c.Alarms.All() {
		fmt.Fprintf(&b, "-%s ", a)
	}
	return strings.TrimSpace(b.String())
}

// TestCover holds what reaches a reader, worked by hand: the finer of two fields,
// limits below what the source can give, lists that are cut, messages that cannot be
// written, alarms that have no bit.
func TestCover(t *testing.T) {
	source := table(t, 11, `
{name: a, can: {id: 0x100}, fields: [{at: 0, as: u16, is: voltage_v, scale: 0.1}, {at: 2, as: i16, is: current_a, scale: 0.1, sign: charge-positive}, {at: 4, as: u8, is: soc_pct}, {at: 5, as: u8, is: soh_pct}], examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 0x101}, fields: [{at: 0, as: u8, is: "cells_v[]", scale: 0.02, repeat: 8}], examples: [{hex: "", gives: {}, source: s}]},
{name: c, can: {id: 0x102}, fields: [{at: 0, as: text4, is: maker}, {at: 4, as: flags8, alarms: {0: [other, warning], 1: [low_charge, warning]}}], examples: [{hex: "", gives: {}, source: s}]}`)
	target := table(t, 11, `
{name: a, can: {id: 0x100}, fields: [{at: 0, as: u8, is: voltage_v}, {at: 1, as: i8, is: current_a, sign: discharge-positive, missing: [0x80]}, {at: 2, as: u8, is: soc_pct, range: [0, 90]}, {at: 3, as: u16, is: soc_pct, scale: 0.01}], examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 0x101}, fields: [{at: 0, as: u8, is: "cells_v[3]", scale: 0.02, repeat: 4}], examples: [{hex: "", gives: {}, source: s}]},
{name: c, can: {id: 0x102}, fields: [{at: 0, as: u8, let: kind}, {at: 1, as: u8, is: soh_pct}, {at: 4, as: flags8, alarms: {1: [other, warning]}}], examples: [{hex: "", gives: {}, source: s}]},
{name: d, can: {id: 0x103}, fields: [{at: 0, as: flags8, alarms: {1: [low_charge, warning]}}, {at: 1, as: u16, is: cycles, missing: [0xFFFF]}], examples: [{hex: "", gives: {}, source: s}]}`)
	got := covered(decode.Cover(decode.Knowable(source), new(pack.Status), []*mapping.Compiled{source}, target))
	want := `voltage_v/1[0,255] current_a/1[-127,127] soc_pct/0.01 cells_v/0.02*6 -maker -soh_pct !c:kind is not known, and its field has no value for "not available" -other warning`
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// TestCoverOfSensors: sensors are not told as those of cells of which there are more.
func TestCoverOfSensors(t *testing.T) {
	target, err := library.Compile("sunspec-battery")
	if err != nil {
		t.Fatal(err)
	}
	for _, sensors := range []int{4, 16} {
		known := new(pack.Status)
		for cell := range 16 {
			known.PutElement(pack.Cells, cell, pack.Value{Coef: 1, Trust: pack.Known})
		}
		for sensor := range sensors {
			known.PutElement(pack.Temps, sensor, pack.Value{Coef: 1, Trust: pack.Known})
		}
		lost := slices.Contains(decode.Cover(new(pack.Status), known, nil, target).Lost, pack.Temps)
		if lost != (sensors < 16) {
			t.Errorf("of %d sensors at 16 cells the temperatures are lost: %t", sensors, lost)
		}
	}
}

// TestCoverOfLibrary holds that what a mapping can give reaches whoever reads the same
// mapping, but for messages that need what no status knows.
func TestCoverOfLibrary(t *testing.T) {
	for _, name := range library.Names() {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		known := decode.Knowable(c)
		got := decode.Cover(known, known, []*mapping.Compiled{c}, c)
		for q := range pack.Count {
			reaches := slices.ContainsFunc(got.Reaches, func(r decode.Reach) bool { return r.Quantity == q })
			lost := slices.Contains(got.Lost, q)
			if reaches == lost && known.Has(q) || !known.Has(q) && (reaches || lost) {
				t.Errorf("%s: %s reaches: %t, lost: %t", name, q, reaches, lost)
			}
			if lost && len(got.Unsent) == 0 {
				t.Errorf("%s: %s is lost, and every message is written", name, q)
			}
		}
		for _, r := range got.Reaches {
			if r.Short || r.Quantity.Row().Kind.List() && r.Elements != len(known.Elements(r.Quantity)) {
				t.Errorf("%s: %s reaches its own reader as %+v", name, r.Quantity, r)
			}
		}
	}
}
