package decode_test

import (
	"fmt"
	"slices"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
)

const dependent = `
{name: parts, can: {id: 1}, length: 3, fields: [{at: 0, as: u8, let: part, range: [1, 3]}, {at: 1, as: u8, is: "temps_c[2]", page: part, repeat: 2, missing: [0xFF]}], examples: [{hex: "", gives: {}, source: s}]},
{name: chain, can: {id: 2}, length: [2, 8], fields: [{at: 0, as: u8, let: n, range: [0, 2], missing: [0xFF]}, {at: 1, as: u8, is: "cells_v[]", repeat: n}, {after: n, at: 0, as: u8, is: soc_pct}], examples: [{hex: "", gives: {}, source: s}]},
{name: kinds, can: {id: 3}, fields: [{at: 0, as: u8, let: kind}, {at: 1, as: u8, is: soh_pct, when: {kind: 1}}, {at: 1, as: flags8, when: {kind: 2}, alarms: {0: [other, warning]}}, {at: 1, as: u8, is: cycles, when: {kind: 3}}], examples: [{hex: "", gives: {}, source: s}]}`

// TestPartsAreWritten holds that a list in parts takes as many payloads as it has
// known elements, and at least one.
func TestPartsAreWritten(t *testing.T) {
	c := table(t, 11, dependent)
	for sensors, want := range [][]string{
		{"1#01 FF FF 0"}, {"1#01 FF FF 0"}, {"1#01 0B FF 0"}, {"1#01 0B 0C 0"}, {"1#01 0B 0C 0", "1#02 0D FF 0"},
		{"1#01 0B 0C 0", "1#02 0D 0E 0"}, {"1#01 0B 0C 0", "1#02 0D 0E 0", "1#03 0F FF 0"}, 9: {"1#01 0B 0C 0", "1#02 0D 0E 0", "1#03 0F 10 0"},
	} {
		var s pack.Status
		for i := range sensors {
			s.PutElement(pack.Temps, i, pack.Value{Coef: int64(10 + i), Trust: pack.Known})
		}
		if got, err := frames(c, 0, &s); want != nil && (err != nil || !slices.Equal(got, want)) {
			t.Errorf("%d sensors are written as %q, %v, want %q", sensors, got, err, want)
		}
	}
}

// TestPartsAreRead holds that each payload changes its own part only.
func TestPartsAreRead(t *testing.T) {
	d := decode.NewDecoder(table(t, 11, dependent), "bus")
	for i, v := range []struct {
		data []byte
		want decode.Outcome
	}{{[]byte{1, 20, 21}, decode.Decoded}, {[]byte{3, 24, 25}, decode.Decoded}, {[]byte{1, 19, 0xFF}, decode.Decoded}, {[]byte{4, 1, 1}, decode.OutOfRange}, {[]byte{0, 1, 1}, decode.OutOfRange}} {
		if got := d.Decode(&transport.Frame{Time: int64(i + 1), Medium: transport.CAN, ID: 1, Data: v.data}); got != v.want {
			t.Errorf("% X is %v", v.data, got)
		}
	}
	var s pack.Status
	d.Status(0, 5, &s)
	var got []string
	for _, v := range s.Elements(pack.Temps) {
		got = append(got, fmt.Sprint(v.Trust != 0, v.Coef))
	}
	if want := []string{"false 0", "true 19", "false 0", "false 0", "false 0", "true 24", "true 25"}; !slices.Equal(got, want) {
		t.Errorf("the sensors are %q, want %q", got, want)
	}
}

// TestAfterIsRead holds where a field behind a list is found, and that it is not
// known if the count is not, or the frame is too short.
func TestAfterIsRead(t *testing.T) {
	c := table(t, 11, dependent)
	for _, v := range []struct {
		data []byte
		want string
	}{
		{[]byte{0, 88}, "88"}, {[]byte{1, 3, 88}, "88"}, {[]byte{2, 3, 4, 88, 1}, "88"},
		{[]byte{2, 3, 4}, ""}, {[]byte{2, 3}, ""}, {[]byte{0xFF, 88}, ""},
	} {
		d := decode.NewDecoder(c, "bus")
		if got := d.Decode(&transport.Frame{Time: 1, Medium: transport.CAN, ID: 2, Data: v.data}); got != decode.Decoded {
			t.Fatalf("% X is %v", v.data, got)
		}
		var s pack.Status
		d.Status(0, 1, &s)
		got := ""
		if s.Has(pack.SOC) {
			got = s.Value(pack.SOC).Decimal().String()
		}
		if got != v.want {
			t.Errorf("% X gives %q, want %q", v.data, got, v.want)
		}
	}
}

// TestWhenKeeps holds that a payload says nothing of the fields that it does not
// have: neither values nor alarms are forgotten, and each grows old by itself.
func TestWhenKeeps(t *testing.T) {
	d := decode.NewDecoder(table(t, 11, dependent), "bus")
	const minute = 60_000_000_000
	at := int64(0)
	frame := func(data ...byte) {
		at += minute / 2
		if got := d.Decode(&transport.Frame{Time: at, Medium: transport.CAN, ID: 3, Data: data}); got != decode.Decoded {
			t.Fatalf("% X is %v", data, got)
		}
	}
	frame(2, 1)
	frame(1, 99)
	var s pack.Status
	d.Status(0, at, &s)
	if s.Alarms.Active == 0 || !s.Has(pack.SOH) || s.Has(pack.Cycles) || s.AlarmsStale {
		t.Errorf("alarms %v (stale: %t), health known: %t, cycles known: %t", s.Alarms, s.AlarmsStale, s.Has(pack.SOH), s.Has(pack.Cycles))
	}
	frame(3, 7)
	frame(3, 8)
	d.Status(0, at, &s)
	if !s.AlarmsStale || s.Stale(pack.SOH) || s.Value(pack.Cycles).Coef != 8 {
		t.Errorf("after a minute and a half alarms are stale: %t; after a minute the health is: %t", s.AlarmsStale, s.Stale(pack.SOH))
	}
	frame(9, 8)
	if d.Status(0, at, &s); !s.Stale(pack.SOH) || s.Value(pack.Cycles).Coef != 8 {
		t.Error("a frame of another kind makes an old value fresh, or forgets one")
	}
}
