package decode_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// missingRange is what is drawn of one field: its type, and its raw values that mean
// "not available".
type missingRange struct {
	signed  bool
	bits    int
	missing [][2]uint64
}

func (m missingRange) holds(raw uint64) bool {
	return slices.ContainsFunc(m.missing, func(r [2]uint64) bool { return raw >= r[0] && raw <= r[1] })
}

func (m missingRange) text() (text string) {
	for _, r := range m.missing {
		if r[0] == r[1] {
			text += fmt.Sprintf("%d,", r[0])
			continue
		}
		text += fmt.Sprintf("[%#x, %d],", r[0], r[1])
	}
	return text
}

// number is the number that a raw value is.
func (m missingRange) number(raw uint64) int64 {
	if m.signed && raw>>(m.bits-1) == 1 {
		return int64(raw) - 1<<m.bits
	}
	return int64(raw)
}

func drawMissing(t *rapid.T) missingRange {
	m := missingRange{signed: rapid.Bool().Draw(t, "signed"), bits: rapid.IntRange(2, 61).Draw(t, "bits")}
	raw := rapid.Uint64Range(0, 1<<m.bits-1)
	if rapid.Bool().Draw(t, "above") { // as where codes above the values are reserved
		raw = rapid.Uint64Range(1<<m.bits-4, 1<<m.bits-1)
	}
	value := rapid.Uint64Range(0, 1<<m.bits-1).Draw(t, "a value")
	first := raw.Filter(func(r uint64) bool { return r != value }).Draw(t, "written")
	m.missing = [][2]uint64{{first, first}}
	for range rapid.IntRange(0, 3).Draw(t, "ranges") {
		a, b := raw.Draw(t, "an end"), raw.Draw(t, "another end")
		if r := [2]uint64{min(a, b), max(a, b)}; value < r[0] || value > r[1] {
			m.missing = append(m.missing, r)
		}
	}
	return m
}

// TestMissingRanges holds, of a number, of one that depends on a name, of an element
// and of a named number, that a raw value is read if and only if it does not mean "not
// available", and that no other is ever written for a value.
func TestMissingRanges(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m := drawMissing(r)
		name := map[bool]string{false: "u", true: "i"}[m.signed] + fmt.Sprint(m.bits)
		field := fmt.Sprintf("at: 0, as: %s, missing: [%s]", name, m.text())
		c := table(t, 11, fmt.Sprintf(`
{name: a, can: {id: 1}, length: 8, fields: [{%[1]s, is: cycles}], examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 2}, length: 9, fields: [{at: 8, as: u8, let: kind, write: 1}, {%[1]s, is: cycles, when: {kind: 1}}], examples: [{hex: "", gives: {}, source: s}]},
{name: c, can: {id: 3}, length: 8, fields: [{%[1]s, is: "cells_v[]", repeat: 1}], examples: [{hex: "", gives: {}, source: s}]}`, field))
		raw := rapid.Uint64Range(0, 1<<m.bits-1).Draw(r, "raw")
		if rapid.Bool().Draw(r, "at an end") {
			end := rapid.SampledFrom(m.missing).Draw(r, "of")
			raw = (end[rapid.IntRange(0, 1).Draw(r, "which end")] + rapid.Uint64Range(0, 2).Draw(r, "beside") - 1) & (1<<m.bits - 1)
		}
		for i := range c.Programs {
			checkMissing(r, &m, c, &c.Programs[i], raw)
		}
	})
}

// checkMissing reads and writes a raw value of a message's field.
func checkMissing(t *rapid.T, m *missingRange, c *mapping.Compiled, p *mapping.Program, raw uint64) {
	payload := make([]byte, p.Least)
	for i := range 8 {
		payload[i] = byte(raw >> (8 * i))
	}
	if p.Least > 8 {
		payload[8] = 1
	}
	d, read := decode.NewDecoder(c, "test"), new(pack.Status)
	d.Decode(&transport.Frame{Medium: transport.CAN, ID: p.CAN.ID, Data: payload, Time: 1})
	d.Status(0, 1, read)
	if known := read.Has(p.Body.All[0].Quantity); known == m.holds(raw) {
		t.Fatalf("%s: %#x is known: %t, with missing: [%s]", p.Name, raw, known, m.text())
	}
	var s pack.Status
	v := pack.Value{Coef: m.number(raw), Trust: pack.Known}
	s.Put(pack.Cycles, v)
	s.PutElement(pack.Cells, 0, v)
	back, err := decode.Payload(p, &s)
	var noRoom *decode.NoRoomError
	switch {
	case m.holds(raw) && !errors.As(err, &noRoom):
		t.Fatalf("%s: %d is written as % X, %v, with missing: [%s]", p.Name, v.Coef, back, err, m.text())
	case !m.holds(raw) && (err != nil || !slices.Equal(back, payload)):
		t.Fatalf("%s: %d is written as % X, want % X: %v", p.Name, v.Coef, back, payload, err)
	}
	unknown, err := decode.Payload(p, new(pack.Status))
	if got := window(unknown); err != nil || got&(1<<m.bits-1) != m.missing[0][0] {
		t.Fatalf("%s: what is not known is written as % X, %v; the first of missing is %#x", p.Name, unknown, err, m.missing[0][0])
	}
}

func window(b []byte) (w uint64) {
	for i := range 8 {
		w |= uint64(b[i]) << (8 * i)
	}
	return w
}

const allBits = `
{name: a, can: {id: 1}, fields: [{at: 0, as: flags2, missing: [3], alarms: {0: [other, warning], 1: [low_charge, warning]}}], examples: [{hex: "", gives: {}, source: s}]},
{name: b, can: {id: 2}, fields: [{at: 0, as: flags2, missing: [3], is: "balancing[]"}], examples: [{hex: "", gives: {}, source: s}]}`

// TestBitsThatMeanNotAvailable holds that bits which together mean "not available" are
// not written for a status in which all of them are set.
func TestBitsThatMeanNotAvailable(t *testing.T) {
	c := table(t, 11, allBits)
	for _, v := range []struct {
		alarms    []string
		balancing []int64
		want      byte
		fits      bool
	}{
		{[]string{"other warning"}, []int64{1, 0}, 1, true},
		{[]string{"low_charge warning"}, []int64{0, 1}, 2, true},
		{[]string{"other warning", "low_charge warning"}, []int64{1, 1}, 0, false},
	} {
		s := told(t, nil, v.alarms...)
		for i, on := range v.balancing {
			s.PutElement(pack.Balancing, i, pack.Value{Coef: on, Trust: pack.Known})
		}
		for i := range c.Programs {
			got, err := decode.Payload(&c.Programs[i], &s)
			var noRoom *decode.NoRoomError
			if v.fits && (err != nil || got[0] != v.want) || !v.fits && !errors.As(err, &noRoom) {
				t.Errorf("%s: %v, %v is written as % X, %v", c.Programs[i].Name, v.alarms, v.balancing, got, err)
			}
		}
	}
}
