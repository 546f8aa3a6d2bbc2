package decode_test

import (
	"testing"

	"pgregory.net/rapid"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
)

const transportProtocol = "../fixtures/mapping/good/transport-protocol.yaml"

func drawPack(t *rapid.T, address uint32) (s pack.Status) {
	s.Address, s.HasAddress, s.Now = address, true, rapid.Int64Range(0, 1<<50).Draw(t, "now")
	s.SetNumber(pack.Voltage, pack.Decimal{Coef: rapid.Int64Range(0, 0xFFFF).Draw(t, "voltage"), Exp: -2}, 1)
	s.SetNumber(pack.SOC, pack.Decimal{Coef: rapid.Int64Range(0, 1000).Draw(t, "charge"), Exp: -1}, 1)
	s.SetNumber(pack.Cycles, pack.Int(rapid.Int64Range(0, 1<<32-1).Draw(t, "cycles")), 1)
	for i := range rapid.IntRange(0, 12).Draw(t, "cells") {
		s.PutElement(pack.Cells, i, pack.Value{Coef: rapid.Int64Range(0, 0xFFFF).Draw(t, "cell"), Exp: -3, At: 1, Trust: pack.Known})
	}
	return s
}

// TestPacksThroughTransfers writes packs as transfers that come interleaved, and
// reads each pack as it was.
func TestPacksThroughTransfers(t *testing.T) {
	table := compiled(t, transportProtocol)
	p := &table.Programs[0]
	rapid.Check(t, func(t *rapid.T) {
		var sent [3]pack.Status
		var queues [3][]transport.Frame
		for i := range sent {
			sent[i] = drawPack(t, uint32(0x40+i))
			if err := decode.NewWriter(table).Frames(p, &sent[i], func(f *transport.Frame) error {
				queues[i] = append(queues[i], kept(f))
				return nil
			}); err != nil {
				t.Fatal(err)
			}
		}
		d := decode.NewDecoder(table, "bus")
		for at := int64(1); len(queues[0])+len(queues[1])+len(queues[2]) > 0; at++ {
			i := rapid.IntRange(0, 2).Draw(t, "pack")
			if len(queues[i]) == 0 {
				continue
			}
			f := queues[i][0]
			f.Time = at
			if outcome := d.Decode(&f); outcome.Rejects() {
				t.Fatalf("% X is %v", f.Data, outcome)
			}
			queues[i] = queues[i][1:]
		}
		if d.Packs() != len(sent) {
			t.Fatalf("%d packs", d.Packs())
		}
		for i := range sent {
			var got pack.Status
			d.Status(i, 1, &got)
			same(t, &got, &sent[got.Address-0x40])
		}
	})
}

func same(t *rapid.T, got, want *pack.Status) {
	for _, q := range []pack.Quantity{pack.Voltage, pack.SOC, pack.Cycles} {
		if got.Value(q).Decimal().Cmp(want.Value(q).Decimal()) != 0 {
			t.Fatalf("pack %d: %s is %s, want %s", got.Address, q, got.Value(q).Decimal(), want.Value(q).Decimal())
		}
	}
	cells, sent := got.Elements(pack.Cells), want.Elements(pack.Cells)
	if len(cells) != len(sent) {
		t.Fatalf("pack %d: %d cells, want %d", got.Address, len(cells), len(sent))
	}
	for i := range cells {
		if cells[i].Decimal().Cmp(sent[i].Decimal()) != 0 {
			t.Fatalf("pack %d: cell %d is %s, want %s", got.Address, i+1, cells[i].Decimal(), sent[i].Decimal())
		}
	}
}

// TestTransfersThroughTheDecoderAllocateNothing decodes the examples of every
// transfer again and again.
func TestTransfersThroughTheDecoderAllocateNothing(t *testing.T) {
	for _, name := range transferMappings {
		table := compiled(t, name)
		var frames []transport.Frame
		for i := range table.Programs {
			for _, e := range table.Programs[i].Examples {
				if err := decode.Carry(&table.Programs[i], uint32(max(e.Address, 0)), 1, e.Payload, func(f *transport.Frame) error {
					frames = append(frames, kept(f))
					return nil
				}); err != nil {
					t.Fatal(err)
				}
			}
		}
		d := decode.NewDecoder(table, "bus")
		if n := testing.AllocsPerRun(50, func() {
			for i := range frames {
				frames[i].Time++
				if outcome := d.Decode(&frames[i]); outcome.Rejects() {
					t.Fatalf("%s: % X is %v", name, frames[i].Data, outcome)
				}
			}
		}); n != 0 {
			t.Errorf("%s: %v allocations for %d frames", name, n, len(frames))
		}
	}
}

// TestSequenceCounterCounts holds that one fast packet after another bears one
// counter after another.
func TestSequenceCounterCounts(t *testing.T) {
	table := compiled(t, "../fixtures/mapping/good/fast-packet.yaml")
	w, p := decode.NewWriter(table), &table.Programs[0]
	for count := range 20 {
		var s pack.Status
		s.SetNumber(pack.SOC, pack.Int(88), 1)
		s.SetNumber(pack.SOH, pack.Int(98), 1)
		if err := w.Frames(p, &s, func(f *transport.Frame) error {
			if got := int(f.Data[0] >> 5); got != count%8 {
				t.Errorf("of packet %d the counter is %d", count, got)
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
	}
}
