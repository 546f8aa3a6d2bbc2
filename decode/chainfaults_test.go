package decode_test

import (
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
)

const oneModel = `{packlink: 1, name: test, title: t, source: [{title: s}], bus: {registers: {table: holding, models_at: 0}}, messages: [{name: a, read: {model: 800, count: 4},
fields: [{at: 2, as: flags16, alarms: {0: [low_charge, warning]}}, {at: 3, as: u16, let: N, range: [1, 4]}],
each_pack: {at: 4, size: 2, fields: [{at: 0, as: flags16, alarms: {0: [other, warning]}}, {at: 1, as: u16, is: soc_pct}]},
examples: [{hex: 0320 0004 0001 0001 0000 0058, gives: {alarms: [[low_charge, warning]]}, each_gives: [{alarms: [], soc_pct: 88}], source: s}]}]}`

func oneModelEar(t *testing.T, words ...uint16) *modelsEar {
	e := &modelsEar{d: decode.NewDecoder(tableOf(t, oneModel), "shed"), registers: make(map[uint16]uint16)}
	for i, w := range append(append([]uint16{0x5375, 0x6E53, 800, uint16(len(words))}, words...), 0xFFFF, 0) {
		e.registers[uint16(i)] = w
	}
	e.walk(0, 60)
	return e
}

// TestAlarmsOfABankOfOne holds that what a model says of the bank, and what it says of
// its only pack, are both kept.
func TestAlarmsOfABankOfOne(t *testing.T) {
	e := oneModelEar(t, 1, 1, 0, 88)
	var s pack.Status
	if e.d.Packs() != 1 || !e.d.Status(0, e.at, &s) {
		t.Fatalf("%d packs are heard", e.d.Packs())
	}
	low, _ := pack.ParseAlarm("low_charge", "warning")
	other, _ := pack.ParseAlarm("other", "warning")
	if active, known := s.Alarms.State(low); !active || !known {
		t.Errorf("low charge is active: %v, known: %v; both are wanted", active, known)
	}
	if active, known := s.Alarms.State(other); active || !known {
		t.Errorf("the pack's own alarm is active: %v, known: %v; it is known to be off", active, known)
	}
}

// TestModelOutOfRange holds that a model with a named field outside its range is refused
// and counted, and changes nothing.
func TestModelOutOfRange(t *testing.T) {
	e := oneModelEar(t, 1, 1, 0, 88)
	before := e.d.Counters()
	e.registers[2+3], e.registers[2+5] = 9, 44
	e.hear(0, 8)
	after := e.d.Counters()
	if after[decode.OutOfRange] != before[decode.OutOfRange]+1 || after[decode.Decoded] != before[decode.Decoded] {
		t.Errorf("out of range: %d, decoded: %d more", after[decode.OutOfRange]-before[decode.OutOfRange], after[decode.Decoded]-before[decode.Decoded])
	}
	var s pack.Status
	e.hear(6, 2) // the pack's part of it alone, with a good answer before
	if e.d.Status(0, e.at, &s); s.Value(pack.SOC).Coef != 44 {
		t.Errorf("the state of charge is %v, want 44", s.Value(pack.SOC).Decimal())
	}
}

const twoModels = `{packlink: 1, name: test, title: t, source: [{title: s}], bus: {registers: {table: holding, models_at: 0}}, messages: [
{name: a, read: {model: 800, count: 4}, fields: [{at: 2, as: u16, let: n, range: [1, 4]}, {at: 3, as: u16, is: soc_pct, scale: 0.1}],
examples: [{hex: 0320 0002 0001 0005, gives: {soc_pct: 0.5}, source: s}]},
{name: b, read: {model: 801, count: 3}, fields: [{at: 2, as: u16, is: soh_pct}],
examples: [{hex: 0321 0001 0058, gives: {soh_pct: 88}, source: s}]}]}`

// TestModelOutOfRangeBeforeASoundOne holds that a refused model is counted though the
// same answer holds a sound one behind it, which is read.
func TestModelOutOfRangeBeforeASoundOne(t *testing.T) {
	e := &modelsEar{d: decode.NewDecoder(tableOf(t, twoModels), "shed"), registers: make(map[uint16]uint16)}
	for i, w := range []uint16{0x5375, 0x6E53, 800, 2, 1, 5, 801, 1, 88, 0xFFFF, 0} {
		e.registers[uint16(i)] = w
	}
	e.walk(0, 60)
	before := e.d.Counters()
	e.registers[4], e.registers[5], e.registers[8] = 9, 7, 77
	e.hear(0, 11)
	after := e.d.Counters()
	if after[decode.OutOfRange] != before[decode.OutOfRange]+1 || after[decode.Decoded] != before[decode.Decoded] {
		t.Errorf("out of range: %d, decoded: %d more", after[decode.OutOfRange]-before[decode.OutOfRange], after[decode.Decoded]-before[decode.Decoded])
	}
	var s pack.Status
	if e.d.Status(0, e.at, &s); s.Value(pack.SOC).Coef != 5 || s.Value(pack.SOH).Coef != 77 {
		t.Errorf("the states of charge and health are %v and %v, want 0.5 and 77", s.Value(pack.SOC).Decimal(), s.Value(pack.SOH).Decimal())
	}
}

// TestBlockOutOfRangeBeforeASoundOne holds the same of registers at fixed places.
func TestBlockOutOfRangeBeforeASoundOne(t *testing.T) {
	d := decode.NewDecoder(tableOf(t, `{packlink: 1, name: test, title: t, source: [{title: s}], bus: {registers: {table: holding}}, messages: [
{name: a, read: {from: 0, count: 2}, fields: [{at: 0, as: u16, let: n, range: [0, 1]}, {at: 1, as: u16, is: soc_pct, scale: 0.1}], examples: [{hex: 0000 0032, gives: {soc_pct: 5}, source: s}]},
{name: b, read: {from: 2, count: 1}, fields: [{at: 0, as: u16, is: soh_pct}], examples: [{hex: "0058", gives: {soh_pct: 88}, source: s}]}]}`), "shed")
	e := &modelsEar{d: d, registers: map[uint16]uint16{0: 9, 1: 50, 2: 88}}
	e.hear(0, 3)
	var s pack.Status
	d.Status(0, e.at, &s)
	if c := d.Counters(); c[decode.OutOfRange] != 1 || c[decode.Decoded] != 0 || s.Has(pack.SOC) || s.Value(pack.SOH).Coef != 88 {
		t.Errorf("out of range: %d, decoded: %d; state of health %v", c[decode.OutOfRange], c[decode.Decoded], s.Value(pack.SOH).Decimal())
	}
}
