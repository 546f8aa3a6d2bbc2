package decode_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

func allTables(t *testing.T) (all []*mapping.Compiled) {
	t.Helper()
	for _, name := range library.Names() {
		all = append(all, compiled(t, name))
	}
	return all
}

// examples are the frames of a mapping's own examples, each a hundred times.
func examples(table *mapping.Compiled) (frames []transport.Frame) {
	if table.Bus.Registers != nil {
		return exampleLine(table)
	}
	for round := range 100 {
		for i := range table.Programs {
			p := &table.Programs[i]
			for _, e := range p.Examples {
				if p.Frame != nil {
					data := append(bytes.Clone(e.Asks), e.Payload...)
					frames = append(frames, transport.Frame{Time: int64(round) * second, Medium: transport.Serial, Data: data})
					continue
				}
				_ = decode.Carry(p, uint32(e.Address), byte(round), e.Payload, func(f *transport.Frame) error {
					f.Time = int64(round) * second
					frames = append(frames, kept(f))
					return nil
				})
			}
		}
	}
	return frames
}

// kept is a frame with bytes of its own.
func kept(f *transport.Frame) transport.Frame {
	frame := *f
	frame.Data = bytes.Clone(f.Data)
	return frame
}

func tried(t *testing.T, frames []transport.Frame) *mapping.Compiled {
	t.Helper()
	return verdictOn(t, frames).Chosen
}

func verdictOn(t *testing.T, frames []transport.Frame) decode.Verdict {
	t.Helper()
	trial := decode.NewTrial(allTables(t))
	for i := range frames {
		trial.Frame(&frames[i])
	}
	verdict := trial.Result()
	for i := range verdict.Candidates {
		t.Log(verdict.Candidates[i].String())
	}
	return verdict
}

// TestIdentifiesItsOwnTraffic takes the examples of every mapping. Those of three
// are of packs with other numbers of cells than their voltages have, so that they
// cannot be what one pack says.
func TestIdentifiesItsOwnTraffic(t *testing.T) {
	several := []string{"homebrew-can", "uart-a5", "uart-dd77"}
	for _, table := range allTables(t) {
		if table.Bus.Registers != nil && table.Bus.Registers.ModelsAt >= 0 {
			continue // models are not heard, they are asked for
		}
		verdict := verdictOn(t, examples(table))
		switch {
		case !slices.Contains(several, table.Name) && verdict.Chosen != table:
			t.Errorf("%s: identified as %v", table.Name, verdict.Chosen)
		case slices.Contains(several, table.Name) && (verdict.Chosen != nil || !strings.Contains(verdict.Doubt(), "it cannot be "+table.Name+": the cells do not add up")):
			t.Errorf("%s: identified as %v, the doubt is %q", table.Name, verdict.Chosen, verdict.Doubt())
		}
	}
}

// TestIdentifiesWhatItWrites takes what a pack would say by every mapping, from
// about a hundred frames on, clean and with one byte of twenty damaged: the
// answer is the mapping, or that it is not sure, and never another mapping.
func TestIdentifiesWhatItWrites(t *testing.T) {
	for _, table := range allTables(t) {
		t.Run(table.Name, func(t *testing.T) {
			for seed := range uint64(3) {
				random := rand.New(rand.NewPCG(seed, 1))
				clean := traffic(t, table, random, 60*time.Second)
				if len(clean) > 100 && seed > 0 {
					clean = clean[:100]
				}
				if got := tried(t, clean); got != table {
					t.Errorf("%d frames: identified as %v", len(clean), got)
				}
				if got := tried(t, damaged(clean, random, 20)); got != nil && got != table {
					t.Errorf("damaged: identified as %s", got.Name)
				}
			}
		})
	}
}

// TestNoiseIsNobody takes random bytes on a line, and random frames of both kinds
// of ids.
func TestNoiseIsNobody(t *testing.T) {
	for seed := range uint64(8) {
		random := rand.New(rand.NewPCG(seed, 3))
		var noise []transport.Frame
		for i := range 1500 {
			data := make([]byte, 1+random.IntN(8))
			for j := range data {
				data[j] = byte(random.Uint32())
			}
			f := transport.Frame{Time: int64(i) * second / 50, Medium: transport.Serial, Data: data}
			if seed%2 == 0 {
				f.Medium, f.ID = transport.CAN, random.Uint32()&0x7FF
				if i%2 == 0 {
					f.ID, f.Flags = random.Uint32()&0x1FFFFFFF, transport.Extended
				}
			}
			noise = append(noise, f)
		}
		if got := tried(t, noise); got != nil {
			t.Errorf("seed %d: identified as %s", seed, got.Name)
		}
	}
}

// TestForeignMeterIsNobody takes a meter of mains power, invented, whose registers
// are asked for as those of a pack are: floats of volts, amperes, watts.
func TestForeignMeterIsNobody(t *testing.T) {
	for _, count := range []int{40, 54, 20} {
		random := rand.New(rand.NewPCG(uint64(count), 4))
		var frames []transport.Frame
		for i := range 200 {
			var data []byte
			for range count / 2 {
				data = binary.BigEndian.AppendUint32(data, math.Float32bits(230+20*random.Float32()))
			}
			at := int64(i) * second
			frames = append(frames,
				transport.Frame{Time: at, Medium: transport.Serial, Data: ask(1, 0, count)},
				transport.Frame{Time: at + second/20, Medium: transport.Serial, Data: give(1, data)})
		}
		if got := tried(t, frames); got != nil {
			t.Errorf("%d registers: identified as %s", count, got.Name)
		}
	}
}

func TestNotSure(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	var noise, foreign []transport.Frame
	for i := range 1000 {
		data := make([]byte, 8)
		for j := range data {
			data[j] = byte(random.Uint32())
		}
		noise = append(noise, transport.Frame{Time: int64(i), Medium: transport.CAN, ID: random.Uint32() & 0x7FF, Data: data})
		foreign = append(foreign, transport.Frame{Time: int64(i), Medium: transport.CAN, ID: 0x180 + uint32(i%4), Data: data})
	}
	one := examples(compiled(t, "storage-can-35x"))[:2]
	for name, frames := range map[string][]transport.Frame{"nothing": nil, "noise": noise, "a foreign protocol": foreign, "one message only": one} {
		if got := tried(t, frames); got != nil {
			t.Errorf("%s: identified as %s", name, got.Name)
		}
	}
}

// TestImplausibleTrafficIsNotExplained wants a mapping refused whose ids fit
// but whose values do not.
func TestImplausibleTrafficIsNotExplained(t *testing.T) {
	frames := examples(compiled(t, "storage-can-35x"))
	for i := range frames {
		if frames[i].ID == 0x355 {
			frames[i].Data = []byte{0xFF, 0x7F, 0, 0}
		}
	}
	if got := tried(t, frames); got != nil {
		t.Errorf("identified as %s", got.Name)
	}
}

func TestUnknownIDsAreKeptApart(t *testing.T) {
	d := decode.NewDecoder(compiled(t, "storage-can-35x"), "bus")
	for i := range 5000 {
		d.Decode(&transport.Frame{Time: int64(i) * second, Medium: transport.CAN, Flags: transport.Extended, ID: uint32(i), Data: []byte{1}})
	}
	for i := range 11 {
		d.Decode(&transport.Frame{Time: int64(i) * second / 10, Medium: transport.CAN, Flags: transport.Extended, ID: 7, Data: []byte{byte(i), 2}})
	}
	all := d.UnknownIDs()
	if len(all) != decode.MaxUnknownIDs {
		t.Fatalf("%d unknown ids are kept, want %d", len(all), decode.MaxUnknownIDs)
	}
	if u := all[0]; u.ID != 7 || u.Frames != 12 || u.Size != 2 || u.Data[0] != 10 || u.Data[1] != 2 {
		t.Errorf("the most frequent is %+v", u)
	}
	if counters := d.Counters(); counters[decode.Unknown] != 5011 {
		t.Errorf("%d unknown frames are counted, want 5011", counters[decode.Unknown])
	}
}

func TestRateOfUnknownID(t *testing.T) {
	d := decode.NewDecoder(compiled(t, "storage-can-35x"), "bus")
	for i := range 101 {
		d.Decode(&transport.Frame{Time: int64(i) * second / 50, Medium: transport.CAN, ID: 1})
	}
	rate, ok := d.UnknownIDs()[0].Rate()
	if !ok || rate.Cmp(pack.Int(50)) != 0 {
		t.Errorf("rate %s, want 50", rate)
	}
}

// TestTooManyPacks bounds what a bus full of invented addresses can cost.
func TestTooManyPacks(t *testing.T) {
	const wide = `
packlink: 1
name: wide
title: An address of sixteen bits
source: [{title: invented}]
bus: {can: {bitrate: 250000, id_bits: 29}}
messages:
  - name: charge
    can: {id: 0x01000000, address: {bit: 0, width: 16}, every: 1s}
    fields: [{at: 0, as: u8, is: soc_pct}]
    examples: [{hex: "32", gives: {soc_pct: 50}, source: invented}]
`
	m, err := mapping.Load("wide.yaml", []byte(wide), nil)
	if err != nil {
		t.Fatal(err)
	}
	table, err := mapping.Compile(m)
	if err != nil {
		t.Fatal(err)
	}
	d := decode.NewDecoder(table, "bus")
	for i := range 300 {
		d.Decode(&transport.Frame{Time: 1, Medium: transport.CAN, Flags: transport.Extended, ID: 0x01000000 + uint32(i), Data: []byte{50}})
	}
	if counters := d.Counters(); d.Packs() != decode.MaxPacks || counters[decode.Crowded] != 300-decode.MaxPacks {
		t.Errorf("%d packs, %d crowded", d.Packs(), counters[decode.Crowded])
	}
}

func TestDecodeAllocatesNothing(t *testing.T) {
	for _, name := range []string{"storage-can-35x", "homebrew-can"} {
		table := compiled(t, name)
		frames := examples(table)
		d := decode.NewDecoder(table, "bus")
		round := func() {
			for i := range frames[:16] {
				d.Decode(&frames[i])
			}
		}
		round()
		if allocs := testing.AllocsPerRun(100, round); allocs != 0 {
			t.Errorf("%s: %v allocations a round", name, allocs)
		}
	}
}
