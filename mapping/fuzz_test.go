package mapping_test

import (
	"encoding/binary"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/document"
	"packlink/mapping/framing"
	"packlink/transport"
)

// FuzzLoad reads any text as a mapping file. Whatever loads also compiles, has
// its examples run, decodes frames, writes them back and is shown as a table,
// all without a panic.
func FuzzLoad(f *testing.F) {
	for i, data := range corpus(f) {
		f.Add(data, uint64(i)*0x9E3779B97F4A7C15)
	}
	f.Fuzz(func(t *testing.T, data []byte, seed uint64) {
		m, err := mapping.Load("fuzz.yaml", data, nil)
		if err != nil {
			_ = err.Error()
			return
		}
		c, err := mapping.Compile(m)
		if err != nil {
			t.Fatalf("loads and does not compile: %v", err)
		}
		checkProblems(t, decode.Verify(c, "fuzz.yaml", data))
		if err := m.WriteTable(t.Output()); err != nil {
			t.Error(err)
		}
		exercise(c, seed)
	})
}

func checkProblems(t *testing.T, problems document.Problems) {
	t.Helper()
	for _, p := range problems {
		if p.Rule != mapping.RuleExample || p.Line == 0 {
			t.Errorf("running the examples breaks another rule: %v", p)
		}
	}
}

// exercise decodes pseudo-random frames of every message and length, and writes
// what they mean back.
func exercise(c *mapping.Compiled, seed uint64) {
	if c.Bus.Serial != nil {
		exerciseSerial(c, seed)
		return
	}
	if c.Bus.CAN == nil {
		decode.Layout(c, &pack.Status{}, make([]pack.Status, 2))
		return
	}
	d := decode.NewDecoder(c, "fuzz")
	var s pack.Status
	for i := range c.Programs {
		p := &c.Programs[i]
		for size := range 65 {
			f := transport.Frame{Time: 1, Medium: transport.CAN, ID: p.ID(uint32(seed)), Data: bytesOf(&seed, size)}
			if p.CAN.Extended {
				f.Flags = transport.Extended
			}
			if d.Decode(&f); d.Packs() > 0 {
				d.Status(d.Packs()-1, 1, &s)
				_ = s.AppendJSON(nil)
				_ = decode.NewWriter(c).Frames(p, &s, func(f *transport.Frame) error { d.Decode(f); return nil })
			}
		}
	}
}

// exerciseSerial decodes pseudo-random frames of every message behind its
// question, and writes what they mean back.
func exerciseSerial(c *mapping.Compiled, seed uint64) {
	d := decode.NewDecoder(c, "fuzz")
	var s pack.Status
	for i := range c.Programs {
		p := &c.Programs[i]
		var values [framing.MaxParts]uint64
		for _, v := range p.Frame.Values {
			values[v.Part] = v.Value
		}
		for size := range 65 {
			line, _ := decode.Question(p, uint32(seed), nil)
			line, _ = c.Bus.Serial.Format.Append(append(line, bytesOf(&seed, 3)...), &values, bytesOf(&seed, size))
			d.Decode(&transport.Frame{Time: 1, Medium: transport.Serial, Data: line})
			if d.Packs() > 0 {
				d.Status(d.Packs()-1, 1, &s)
				_ = decode.NewWriter(c).Frames(p, &s, func(*transport.Frame) error { return nil })
			}
		}
	}
}

// bytesOf are pseudo-random bytes (SplitMix64 by Steele, Lea and Flood, from
// memory).
func bytesOf(seed *uint64, size int) []byte {
	b := make([]byte, 0, size+8)
	for len(b) < size {
		*seed += 0x9E3779B97F4A7C15
		z := *seed
		z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
		z = (z ^ z>>27) * 0x94D049BB133111EB
		b = binary.LittleEndian.AppendUint64(b, z^z>>31)
	}
	return b[:size]
}
