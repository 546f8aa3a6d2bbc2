package decode_test

import (
	"encoding/binary"
	"strings"
	"testing"

	"packlink/decode"
	"packlink/mapping"
	"packlink/transport"
)

const twoBlocks = `{packlink: 1, name: test, title: t, source: [{title: s}], bus: {registers: {table: holding}}, messages: [
{name: cells, read: {from: 0, count: 4, every: 1s}, fields: [{at: 0, as: u16, is: "cells_v[]", scale: 0.001, repeat: 4}], examples: [{hex: "0001 0001 0001 0001", gives: {"cells_v[]": [0.001, 0.001, 0.001, 0.001]}, source: s}]},
{name: terminals, read: {from: 4, count: 1, every: 1s}, fields: [{at: 0, as: u16, is: voltage_v, scale: 0.001}], examples: [{hex: "0001", gives: {voltage_v: 0.001}, source: s}]}]}`

// twoFrames are messages of packs, whose cells and voltage come in different ones.
const twoFrames = `
{name: cells, can: {id: 0x100, address: {bit: 0, width: 4}}, fields: [{at: 0, as: u16, is: "cells_v[]", scale: 0.001, repeat: 4}], examples: [{hex: "", gives: {}, source: s}]},
{name: terminals, can: {id: 0x200, address: {bit: 0, width: 4}}, fields: [{at: 0, as: u16, is: voltage_v, scale: 0.001}], examples: [{hex: "", gives: {}, source: s}]},
{name: charge, can: {id: 0x300, address: {bit: 0, width: 4}}, fields: [{at: 0, as: u8, is: soc_pct}], examples: [{hex: "", gives: {}, source: s}]}`

// sumsOf is what a trial says of the cells' sum.
func sumsOf(t *testing.T, c *mapping.Compiled, frames []transport.Frame) string {
	t.Helper()
	trial := decode.NewTrial([]*mapping.Compiled{c})
	for i := range frames {
		trial.Frame(&frames[i])
	}
	for _, r := range trial.Result().Candidates[0].Reasons {
		if r.Test == "cells" {
			return r.Text
		}
	}
	return "nothing"
}

// words are registers, the first byte the more significant one.
func words(all ...int) (data []byte) {
	for _, w := range all {
		data = binary.BigEndian.AppendUint16(data, uint16(w))
	}
	return data
}

// TestSumOfOneAnswer holds that an answer which spans the cells' message and that of
// the voltage is one piece of evidence, by the voltage that it brings itself: here a
// load comes and goes from answer to answer.
func TestSumOfOneAnswer(t *testing.T) {
	c := tableOf(t, twoBlocks)
	line := func(wrong int) (frames []transport.Frame) {
		for i := range 10 {
			cell := 3000 + 400*(i%2)
			data := append(ask(1, 0, 5), give(1, words(cell, cell, cell, cell, 4*cell+wrong))...)
			frames = append(frames, transport.Frame{Time: int64(i+1) * second, Medium: transport.Serial, Data: data})
		}
		return frames
	}
	if got := sumsOf(t, c, line(0)); !strings.Contains(got, "add up to the voltage, 10 of 10 times") {
		t.Errorf("of ten answers that are right: %s", got)
	}
	if got := sumsOf(t, c, line(1500)); !strings.Contains(got, "do not add up to the voltage, 10 of 10 times") {
		t.Errorf("of ten answers that are wrong: %s", got)
	}
}

// TestSumOfOneInstant holds the same of frames that bear the same time, of two packs
// in turn.
func TestSumOfOneInstant(t *testing.T) {
	c := table(t, 11, twoFrames)
	var frames []transport.Frame
	for i := range 5 {
		cell := []byte{0xE4, 0x0C, 0xE4, 0x0C, 0xE4, 0x0C, 0xE4, 0x0C} // 3300 mV
		for _, m := range []struct {
			id   uint32
			data []byte
		}{{0x100, cell}, {0x200, []byte{0x90, 0x33}}, {0x300, []byte{88}}} {
			for pack := range uint32(2) {
				frames = append(frames, transport.Frame{Time: int64(i+1) * second, Medium: transport.CAN, ID: m.id + pack, Data: m.data})
			}
		}
	}
	if got := sumsOf(t, c, frames); !strings.Contains(got, "add up to the voltage, 10 of 10 times") {
		t.Errorf("of two packs, five times: %s", got)
	}
}
