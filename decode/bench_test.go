package decode

import (
	"testing"

	"go.einride.tech/can"

	"packlink/decode/dbcpeer"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

// The same message as decode/dbcpeer/storage.dbc describes.
const benchMapping = `
packlink: 1
name: bench
title: Five signals in eight bytes
source: [{title: "decode/dbcpeer/storage.dbc"}]
bus: {can: {bitrate: 500000, id_bits: 11}}
byte_order: little
messages:
  - name: terminals
    can: {id: 853, every: 1s}
    fields:
      - {at: 0, as: i16, is: voltage_v, scale: 0.01, range: [0, 100]}
      - {at: 2, as: i16, is: current_a, scale: 0.1, sign: charge-positive, range: [-2000, 2000]}
      - {at: 4, as: i16, is: temp_c, scale: 0.1, range: [-40, 120], missing: [0x7FFF]}
      - {at: 6, as: u8, is: soc_pct, range: [0, 100], missing: [0xFF]}
      - {at: 7, as: u8, is: soh_pct, range: [0, 110], missing: [0xFF]}
    examples:
      - hex: 9A 14 99 FD E9 00 5F 63
        gives: {voltage_v: 52.74, current_a: -61.5, temp_c: 23.3, soc_pct: 95, soh_pct: 99}
        source: "worked by hand"
`

var benchData = [8]byte{0x9A, 0x14, 0x99, 0xFD, 0xE9, 0x00, 0x5F, 0x63}

func compileText(tb testing.TB, text string) *mapping.Compiled {
	tb.Helper()
	m, err := mapping.Load("test.yaml", []byte(text), nil)
	if err != nil {
		tb.Fatal(err)
	}
	c, err := mapping.Compile(m)
	if err != nil {
		tb.Fatal(err)
	}
	return c
}

// BenchmarkFrame decodes one frame of five signals into a status, with length,
// "not available", range and time; beside it the code that go.einride.tech/can
// generates from the equivalent DBC, which gives the five physical values.
func BenchmarkFrame(b *testing.B) {
	b.Run("packlink", func(b *testing.B) {
		d := NewDecoder(compileText(b, benchMapping), "bench")
		f := transport.Frame{Time: 1, Medium: transport.CAN, ID: 853, Data: benchData[:]}
		b.ReportAllocs()
		for b.Loop() {
			f.Time++
			d.Decode(&f)
		}
		if counters := d.Counters(); counters[Decoded] != counters.Frames() {
			b.Fatal("not decoded")
		}
	})
	b.Run("generated", func(b *testing.B) {
		m := dbcpeer.NewTerminals()
		f := can.Frame{ID: 853, Length: 8, Data: benchData}
		var sum float64
		b.ReportAllocs()
		for b.Loop() {
			if err := m.UnmarshalFrame(f); err != nil {
				b.Fatal(err)
			}
			sum += m.Voltage() + m.Current() + m.Temperature() + m.Charge() + m.Health()
		}
		if sum == 0 {
			b.Fatal("nothing decoded")
		}
	})
}

// BenchmarkRecord writes the record of a pack with about sixty numbers.
func BenchmarkRecord(b *testing.B) {
	var s pack.Status
	for q := range pack.Count {
		switch q.Row().Kind {
		case pack.Number:
			s.SetNumber(q, pack.Decimal{Coef: 52831 + int64(q), Exp: -3}, 1)
		case pack.Numbers:
			for i := range 16 {
				s.PutElement(q, i, pack.Value{Coef: 3301 + int64(i), Exp: -3, Trust: pack.Known})
			}
		}
	}
	s.Time, s.Now = 1_780_000_000_000_000_000, 1_780_000_000_100_000_000
	var line []byte
	b.ReportAllocs()
	for b.Loop() {
		line = s.AppendJSON(line[:0])
	}
}

// BenchmarkTransfer decodes a payload in several frames: a detailed status of six
// fields, a fast packet of 11 bytes in two frames.
func BenchmarkTransfer(b *testing.B) {
	table, err := library.Compile("nmea2000-battery")
	if err != nil {
		b.Fatal(err)
	}
	d := NewDecoder(table, "bench")
	frames := []transport.Frame{
		{Medium: transport.CAN, Flags: transport.Extended, ID: 0x19F21223, Data: []byte{0xA0, 0x0B, 7, 0, 0, 0x58, 0x62, 0x0E}},
		{Medium: transport.CAN, Flags: transport.Extended, ID: 0x19F21223, Data: []byte{0xA1, 1, 0x32, 0, 0x64, 0, 0xFF, 0xFF}},
	}
	b.ReportAllocs()
	for b.Loop() {
		for i := range frames {
			frames[i].Time++
			d.Decode(&frames[i])
		}
	}
	if counters := d.Counters(); counters[Decoded] == 0 || counters[Decoded] != counters[Part] {
		b.Fatalf("not decoded: %v", counters)
	}
}

// BenchmarkCrowded takes frames of one pack more than are followed, all of them heard.
func BenchmarkCrowded(b *testing.B) {
	d := NewDecoder(compileText(b, `{packlink: 1, name: crowd, title: t, source: [{title: s}], bus: {can: {bitrate: 500000, id_bits: 29}}, messages: [
{name: a, can: {id: 0x100000, address: {bit: 0, width: 16}, every: 1s}, fields: [{at: 0, as: u8, is: soc_pct}], examples: [{hex: 58, address: 1, gives: {soc_pct: 88}, source: s}]}]}`), "bus")
	f := transport.Frame{Medium: transport.CAN, Flags: transport.Extended, Data: []byte{88}}
	for address := range uint32(MaxPacks) {
		f.ID = 0x100000 | address
		d.Decode(&f)
	}
	f.ID = 0x100000 | MaxPacks
	b.ReportAllocs()
	for b.Loop() {
		if d.Decode(&f) != Crowded {
			b.Fatal("there is room for one more")
		}
	}
}
