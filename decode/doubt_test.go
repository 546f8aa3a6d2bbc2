package decode_test

import (
	"cmp"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"packlink/decode"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

// TestVariantIsNobody takes packs that speak a built-in mapping but for one thing
// that the values betray: then the answer is that it is not sure.
func TestVariantIsNobody(t *testing.T) {
	for _, c := range []struct{ mapping, what, old, new string }{
		{"homebrew-can", "volts in steps of 0.1", "is: voltage_v, scale: 0.01", "is: voltage_v, scale: 0.1"},
		{"homebrew-can", "volts in steps of 0.001", "is: voltage_v, scale: 0.01", "is: voltage_v, scale: 0.001"},
		{"homebrew-can", "the other order of bytes", "byte_order: little", "byte_order: big"},
		{"homebrew-modbus", "volts in steps of 0.1", "is: voltage_v, scale: 0.01", "is: voltage_v, scale: 0.1"},
		{"homebrew-modbus", "cells in half millivolts", "\"cells_v[]\", scale: 0.001", "\"cells_v[]\", scale: 0.0005"},
		{"marrowfen-mf16", "volts in steps of 0.1", "is: voltage_v, scale: 0.01", "is: voltage_v, scale: 0.1"},
		{"marrowfen-mf16", "volts in steps of 0.001", "is: voltage_v, scale: 0.01", "is: voltage_v, scale: 0.001"},
		{"rvc-dc-source", "one of two voltages in steps of 0.01", "is: voltage_v, scale: 0.001", "is: voltage_v, scale: 0.01"},
		{"storage-can-35x", "volts in steps of 0.1", "is: voltage_v, scale: 0.01", "is: voltage_v, scale: 0.1"},
		{"telecom-ascii-hex", "the charge where the voltage is", "scale: $voltage-scale", "scale: 0.01"},
		{"uart-a5", "volts in steps of 0.01", "is: voltage_v, scale: 0.1", "is: voltage_v, scale: 0.01"},
		{"uart-a5", "the other order of bytes", "byte_order: big", "byte_order: little"},
	} {
		data, err := os.ReadFile("../mapping/library/" + c.mapping + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		text := strings.ReplaceAll(string(data), c.old, c.new)
		if text == string(data) {
			t.Fatalf("%s: nothing is changed", c.mapping)
		}
		m, err := mapping.Load("variant.yaml", []byte(text), nil)
		if err != nil {
			t.Fatal(err)
		}
		table, err := mapping.Compile(m)
		if err != nil {
			t.Fatal(err)
		}
		frames := traffic(t, table, rand.New(rand.NewPCG(3, 1)), time.Minute)
		if got := tried(t, frames); got != nil {
			t.Errorf("%s, %s: identified as %s", c.mapping, c.what, got.Name)
		}
	}
}

// TestTwoProtocolsAreNotOne puts two packs that speak different mappings on one
// bus, one of them as often as the other or more seldom. The answer is that it is
// not sure, or the one that is heard well, and never a third one.
func TestTwoProtocolsAreNotOne(t *testing.T) {
	spoken := make(map[string][]transport.Frame)
	for _, table := range allTables(t) {
		if table.Bus.Registers == nil || table.Bus.Registers.ModelsAt < 0 {
			spoken[table.Name] = traffic(t, table, rand.New(rand.NewPCG(7, 1)), time.Minute)
		}
	}
	for _, a := range library.Names() {
		for _, b := range library.Names() {
			if a == b || spoken[a] == nil || spoken[b] == nil || spoken[a][0].Medium != spoken[b][0].Medium {
				continue
			}
			for _, oneIn := range []int{1, 20} {
				verdict := verdictOn(t, mixed(spoken[a], spoken[b], oneIn))
				switch got := verdict.Chosen; {
				case got != nil && got.Name != a && (oneIn > 1 || got.Name != b):
					t.Errorf("%s and one in %d of %s: identified as %s", a, oneIn, b, got.Name)
				case got != nil && bothSure(&verdict):
					t.Errorf("%s and one in %d of %s: identified as %s, and both are heard well", a, oneIn, b, got.Name)
				}
			}
		}
	}
}

func bothSure(v *decode.Verdict) bool { return v.Candidates[0].Sure() && v.Candidates[1].Sure() }

// mixed are the frames of a bus, and one in so many of another; on a line the
// questions stay with their answers.
func mixed(frames, others []transport.Frame, oneIn int) []transport.Frame {
	all := slices.Clone(frames)
	for i, f := range others {
		if f.Medium == transport.Serial {
			i /= 2
		}
		if i%oneIn == 0 {
			all = append(all, f)
		}
	}
	slices.SortStableFunc(all, func(a, b transport.Frame) int { return cmp.Compare(a.Time, b.Time) })
	return all
}

// TestPackWithoutItsMappingIsNobody tries what packs say by every mapping but
// their own.
func TestPackWithoutItsMappingIsNobody(t *testing.T) {
	all := allTables(t)
	for i, table := range all {
		if table.Bus.Registers != nil && table.Bus.Registers.ModelsAt >= 0 {
			continue
		}
		trial := decode.NewTrial(slices.Delete(slices.Clone(all), i, i+1))
		for _, f := range traffic(t, table, rand.New(rand.NewPCG(7, 1)), time.Minute) {
			trial.Frame(&f)
		}
		if verdict := trial.Result(); verdict.Chosen != nil {
			t.Errorf("%s: identified as %s", table.Name, verdict.Chosen.Name)
		}
	}
}
