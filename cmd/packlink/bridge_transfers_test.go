package main

import (
	"bytes"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// longAndShort has a message that travels in six frames, a short one that comes often, and one that is
// asked for.
const longAndShort = `packlink: 1
name: long-and-short
title: A message in several packets beside short ones
source: [{title: invented for this test}]
bus: {can: {bitrate: 250000, id_bits: 29}}
byte_order: little
messages:
  - name: long
    can: {pgn: 0xFF30, transfer: j1939, every: 2s}
    length: 35
    fields: [{at: 33, as: u16, is: voltage_v, scale: 0.01}]
    examples:
      - {hex: "00000000 00000000 00000000 00000000 00000000 00000000 00000000 00000000 00 94 14", address: 7, gives: {voltage_v: 52.68}, source: worked by hand}
  - name: short
    can: {pgn: 0xFF31, every: 100ms}
    fields: [{at: 0, as: u8, is: soh_pct}]
    examples: [{hex: 63, address: 7, gives: {soh_pct: 99}, source: worked by hand}]
  - name: asked
    can: {id: 0x18DB0000, address: {bit: 0, width: 8}}
    ask: {id: 0x18DA0000, hex: 22 01}
    fields: [{at: 0, as: u8, is: soc_pct, scale: 0.5}]
    examples: [{hex: B0, address: 7, gives: {soc_pct: 88}, source: worked by hand}]
`

// split parts the frames of transfers from the others.
func split(frames []transport.Frame) (packets, others []transport.Frame) {
	for _, f := range frames {
		if pgn := mapping.PGN(f.ID); pgn == mapping.TransferManagement || pgn == mapping.TransferData {
			packets = append(packets, f)
		} else {
			others = append(others, f)
		}
	}
	return packets, others
}

// TestTransferHoldsUpNothing: while the packets of a transfer are sent with their pauses, a
// state is taken without waiting, other messages keep their periods, questions are answered,
// and the output can be stopped.
func TestTransferHoldsUpNothing(t *testing.T) {
	folder := writeFiles(t, map[string]string{"long-and-short.yaml": longAndShort})
	synctest.Test(t, func(t *testing.T) {
		o, bus, _ := transmitting(t, filepath.Join(folder, "long-and-short.yaml"), leftAt(7))
		known := map[pack.Quantity]pack.Decimal{pack.Voltage: {Coef: 5268, Exp: -2}, pack.SOH: pack.Int(99), pack.SOC: pack.Int(88)}
		o.publish(onePack(true, known), nil)
		time.Sleep(1975 * time.Millisecond)
		bus.sent()
		time.Sleep(150 * time.Millisecond) // packets are sent from 2 s on to 2.25 s
		packets, _ := split(bus.sent())
		if len(packets) != 3 {
			t.Fatalf("%d packets in 125 ms, want three, 50 ms apart", len(packets))
		}
		before := time.Now()
		o.publish(onePack(true, known), nil)
		if took := time.Since(before); took != 0 {
			t.Errorf("a state is taken after %v", took)
		}
		bus.heard <- transport.Frame{Medium: transport.CAN, ID: 0x18DA0007, Flags: transport.Extended, Data: []byte{0x22, 1}}
		synctest.Wait()
		if answers := bus.sent(); len(answers) != 1 || answers[0].ID != 0x18DB0007 || answers[0].Time != before.UnixNano() {
			t.Errorf("a question is answered by %+v", answers)
		}
		time.Sleep(10 * time.Second)
		packets, short := split(bus.sent())
		for i := 1; i < len(short); i++ {
			if apart := short[i].Time - short[i-1].Time; apart != int64(100*time.Millisecond) {
				t.Errorf("short message %d comes %v after the one before", i, time.Duration(apart))
			}
		}
		if len(short) != 100 || len(packets) != 3+4*6+3 {
			t.Errorf("%d short messages and %d packets in 10 s", len(short), len(packets))
		}
	})
}

// TestTransfersTakeTurns: transfers of which one takes longer than its period. Each message
// of each pack has its turn, and none begins before the last one is through.
func TestTransfersTakeTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, bus, _ := transmitting(t, "../../fixtures/mapping/good/transport-protocol.yaml", leftAt(7), leftAt(9))
		for range 120 {
			o.publish(onePack(true, map[pack.Quantity]pack.Decimal{
				pack.Voltage: {Coef: 5268, Exp: -2}, pack.SOC: {Coef: 878, Exp: -1}, pack.Cycles: pack.Int(11), pack.ChargeCurrentLimit: pack.Int(50),
			}), nil)
			time.Sleep(time.Second)
		}
		packets, _ := split(bus.sent())
		begun := make(map[uint32]int) // by source and PGN
		for i := 0; i < len(packets); {
			announced := &packets[i]
			if mapping.PGN(announced.ID) != mapping.TransferManagement {
				t.Fatalf("packet %d is %X#% X, want the beginning of a transfer", i, announced.ID, announced.Data)
			}
			source := announced.ID & 0xFF
			begun[source<<16|uint32(announced.Data[6])<<8|uint32(announced.Data[5])]++
			rest := packets[i+1 : min(i+1+int(announced.Data[3]), len(packets))]
			for n, f := range rest {
				if f.ID&0xFF != source || mapping.PGN(f.ID) != mapping.TransferData || int(f.Data[0]) != n+1 {
					t.Fatalf("packet %d of a transfer of %d is %X#% X", n+1, source, f.ID, f.Data)
				}
				if apart := f.Time - packets[i+n].Time; apart != int64(50*time.Millisecond) {
					t.Errorf("packet %d comes %v after the one before", n+1, time.Duration(apart))
				}
			}
			i += 1 + len(rest)
		}
		for _, message := range []uint32{7<<16 | 0xFF30, 9<<16 | 0xFF30, 7<<16 | 0xEF00, 9<<16 | 0xEF00} {
			if begun[message] < 3 {
				t.Errorf("message %X is sent %d times in two minutes; all: %v", message, begun[message], begun)
			}
		}
	})
}

// askedInPackets has a broadcast that comes by itself and one that is asked for.
const askedInPackets = `packlink: 1
name: asked-in-packets
title: A broadcast that is asked for beside one that comes by itself
source: [{title: invented for this test}]
bus: {can: {bitrate: 250000, id_bits: 29}}
byte_order: little
messages:
  - name: unasked
    can: {pgn: 0xFF30, transfer: j1939, every: 2s}
    length: 35
    fields: [{at: 33, as: u16, is: voltage_v, scale: 0.01}]
    examples:
      - {hex: "00000000 00000000 00000000 00000000 00000000 00000000 00000000 00000000 00 94 14", address: 7, gives: {voltage_v: 52.68}, source: worked by hand}
  - name: asked
    can: {pgn: 0xFF32, transfer: j1939}
    ask: {pgn: 59904, source: 0xF9}
    length: 21
    fields: [{at: 20, as: u8, is: soc_pct, scale: 0.5}]
    examples: [{hex: "00000000 00000000 00000000 00000000 00000000 B0", address: 7, gives: {soc_pct: 88}, source: worked by hand}]
`

// TestAskedTransferTakesItsTurn: an answer in several packets has their pauses, and waits for
// the broadcast of the same source that is under way. A question that is asked again before
// its answer begins is answered once.
func TestAskedTransferTakesItsTurn(t *testing.T) {
	folder := writeFiles(t, map[string]string{"asked-in-packets.yaml": askedInPackets})
	synctest.Test(t, func(t *testing.T) {
		o, bus, _ := transmitting(t, filepath.Join(folder, "asked-in-packets.yaml"), leftAt(7))
		question := transport.Frame{Medium: transport.CAN, ID: 0x18EA07F9, Flags: transport.Extended, Data: []byte{0x32, 0xFF, 0}}
		wants := func(when string, groups ...byte) {
			t.Helper()
			var want []byte // the group of each packet, by its low byte
			for _, group := range groups {
				want = append(want, bytes.Repeat([]byte{group}, map[byte]int{0x30: 1 + 5, 0x32: 1 + 3}[group])...)
			}
			var got []byte
			packets, _ := split(bus.sent())
			for i, f := range packets {
				group := f.Data[5]
				if mapping.PGN(f.ID) == mapping.TransferData && i > 0 {
					group = got[i-1]
				}
				got = append(got, group)
				if apart := f.Time - packets[max(i-1, 0)].Time; i > 0 && len(groups) == 1 && apart != int64(packetPause) {
					t.Errorf("%s: packet %d comes %v after the one before", when, i+1, time.Duration(apart))
				}
				if mapping.PGN(f.ID) == mapping.TransferData && (i == 0 || packets[i-1].Data[0] != f.Data[0]-1 && f.Data[0] != 1) {
					t.Errorf("%s: packet %d is % X", when, i+1, f.Data)
				}
			}
			if !bytes.Equal(got, want) {
				t.Errorf("%s: packets of groups % X, want % X", when, got, want)
			}
		}
		o.publish(onePack(true, map[pack.Quantity]pack.Decimal{pack.Voltage: {Coef: 5268, Exp: -2}, pack.SOC: pack.Int(88)}), nil)
		time.Sleep(time.Second)
		bus.sent()
		bus.heard <- question
		time.Sleep(900 * time.Millisecond)
		wants("alone", 0x32)
		time.Sleep(160 * time.Millisecond) // the broadcast that is due at 2 s is under way
		for range 3 {
			bus.heard <- question
		}
		time.Sleep(time.Second)
		wants("while another one is under way", 0x30, 0x32)
	})
}

// TestStopAmidDelay: a stop does not wait for an answer that comes late on purpose. That the
// output ends at once is held when the test ends.
func TestStopAmidDelay(t *testing.T) {
	folder := writeFiles(t, map[string]string{"long-and-short.yaml": longAndShort})
	synctest.Test(t, func(t *testing.T) {
		o, bus, _ := transmitting(t, filepath.Join(folder, "long-and-short.yaml"), leftAt(7))
		o.delay = time.Hour
		o.publish(onePack(true, map[pack.Quantity]pack.Decimal{pack.SOC: pack.Int(88)}), nil)
		bus.heard <- transport.Frame{Medium: transport.CAN, ID: 0x18DA0007, Flags: transport.Extended, Data: []byte{0x22, 1}}
		synctest.Wait()
		if answers := bus.sent(); len(answers) > 0 {
			t.Errorf("%d frames are sent before the delay is over", len(answers))
		}
	})
}
