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
