package decode_test

import (
	"bytes"
	"encoding/json"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

var serialMappings = []string{"serial-parts", "serial-ascii-hex", "serial-escapes", "serial-fixed", "serial-end", "serial-length"}

// exampleBytes are the examples of a mapping, each behind its question if that is
// given.
func exampleBytes(c *mapping.Compiled) (pieces [][]byte) {
	for i := range c.Programs {
		for _, e := range c.Programs[i].Examples {
			pieces = append(pieces, e.Asks, e.Payload)
		}
	}
	return pieces
}

// TestAnyChunking decodes frames, questions, noise and torn frames in any order
// and in any pieces: records and counts are those of one piece.
func TestAnyChunking(t *testing.T) {
	tables := map[string]*mapping.Compiled{}
	for _, name := range serialMappings {
		tables[name] = serialTable(t, name)
	}
	rapid.Check(t, func(t *rapid.T) {
		c := tables[rapid.SampledFrom(serialMappings).Draw(t, "mapping")]
		pieces := exampleBytes(c)
		var line []byte
		for range rapid.IntRange(1, 6).Draw(t, "pieces") {
			piece := rapid.SampledFrom(pieces).Draw(t, "piece")
			line = append(line, piece[:rapid.IntRange(0, len(piece)).Draw(t, "torn")]...)
			line = append(line, rapid.SliceOfN(rapid.Byte(), 0, 4).Draw(t, "noise")...)
			line = append(line, rapid.SampledFrom(pieces).Draw(t, "whole")...)
		}
		whole := decode.NewDecoder(c, "line")
		whole.Decode(&transport.Frame{Time: second, Medium: transport.Serial, Data: line})
		torn := decode.NewDecoder(c, "line")
		for rest := line; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "size")
			torn.Decode(&transport.Frame{Time: second, Medium: transport.Serial, Data: rest[:n]})
			rest = rest[n:]
		}
		if got, want := counted(torn), counted(whole); !reflect.DeepEqual(got, want) {
			t.Errorf("% X: torn %v, whole %v", line, got, want)
		}
		if got, want := packRecords(torn), packRecords(whole); !bytes.Equal(got, want) {
			t.Errorf("% X: torn %s, whole %s", line, got, want)
		}
	})
}

func packRecords(d *decode.Decoder) (all []byte) {
	var s pack.Status
	for i := range d.Packs() {
		d.Status(i, second, &s)
		all = append(s.AppendJSON(all), '\n')
	}
	return all
}

// TestFramesAreHeard writes every message of every mapping from what its example
// says, and hears the same record.
func TestFramesAreHeard(t *testing.T) {
	for _, name := range serialMappings {
		c := serialTable(t, name)
		for i := range c.Programs {
			p := &c.Programs[i]
			e := p.Examples[0]
			d := decode.NewDecoder(c, "line")
			d.Decode(&transport.Frame{Time: second, Medium: transport.Serial, Data: append(bytes.Clone(e.Asks), e.Payload...)})
			var s pack.Status
			d.Status(0, second, &s)
			frames := 0
			err := decode.NewWriter(c).Frames(p, &s, func(f *transport.Frame) error {
				frames++
				if f.Medium != transport.Serial || f.Direction != transport.Sent || !bytes.Equal(f.Data, e.Payload) {
					t.Errorf("%s, %s: written as %+v, want % X", name, p.Name, f, e.Payload)
				}
				return nil
			})
			if err != nil || frames != 1 {
				t.Errorf("%s, %s: %d frames, %v", name, p.Name, frames, err)
			}
		}
	}
}

// TestQuestionsAreFound finds the questions that a poll would ask, torn, and
// hears the answers to them and to no other.
func TestQuestionsAreFound(t *testing.T) {
	for _, name := range []string{"serial-parts", "serial-ascii-hex", "serial-fixed"} {
		c := serialTable(t, name)
		polls, err := decode.Polls(c, []uint32{1, 2})
		if err != nil || len(polls) == 0 {
			t.Fatalf("%s: %d polls, %v", name, len(polls), err)
		}
		questions, err := decode.NewQuestions(c, []uint32{1, 2})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range polls {
			address := p.Address
			if !p.Told {
				address = 1
			}
			found := 0
			for _, b := range append([]byte{0x55}, p.Sent...) {
				questions.Hear(&transport.Frame{Medium: transport.Serial, Data: []byte{b}}, func(of uint32, asked *mapping.Program) {
					if found++; of != address || asked.Asked != p.Program.Index {
						t.Errorf("%s: % X is found to ask %d for %s, want %+v", name, p.Sent, of, asked.Name, p.Asked)
					}
				})
			}
			if found == 0 {
				t.Errorf("%s: % X is not found", name, p.Sent)
			}
		}
		checkEar(t, c, polls)
	}
}

// checkEar holds that an ear takes the example of the question asked for its
// answer, and no other.
func checkEar(t *testing.T, c *mapping.Compiled, polls []decode.Poll) {
	t.Helper()
	for _, p := range polls {
		for i := range c.Programs {
			e := c.Programs[i].Examples[0]
			ear := decode.NewEar(c)
			ear.Expect(p.Asked)
			answered := ear.Heard(append(bytes.Clone(p.Sent), e.Payload...))
			right := c.Programs[i].Asked == p.Program.Index
			from, err := decode.Question(p.Program, uint32(max(e.Address, 1)), nil)
			if err != nil {
				t.Fatal(err)
			}
			if p.Told {
				right = right && bytes.Equal(from, p.Sent)
			}
			if answered != right && !p.Told {
				t.Errorf("% X: % X is taken for the answer: %t", p.Sent, e.Payload, answered)
			}
			if p.Told && answered && e.Address >= 0 && uint32(e.Address) != p.Address {
				t.Errorf("% X: the answer of pack %d is taken", p.Sent, e.Address)
			}
		}
	}
}

// TestPollsOfPacks holds which questions are asked of which packs.
func TestPollsOfPacks(t *testing.T) {
	for _, c := range []struct {
		mapping   string
		addresses []uint32
		polls     int
		told      bool
	}{
		{"serial-parts", nil, 1, false},
		{"serial-parts", []uint32{1, 2}, 1, false},
		{"serial-ascii-hex", []uint32{1, 2, 15}, 6, true},
		{"serial-fixed", []uint32{1, 2}, 1, false},
		{"serial-escapes", []uint32{1}, 0, false},
	} {
		polls, err := decode.Polls(serialTable(t, c.mapping), c.addresses)
		if err != nil || len(polls) != c.polls {
			t.Errorf("%s of %v: %d questions, %v, want %d", c.mapping, c.addresses, len(polls), err, c.polls)
		}
		for _, p := range polls {
			if p.Told != c.told || p.Every <= 0 {
				t.Errorf("%s: % X is %+v", c.mapping, p.Sent, p)
			}
		}
	}
	if _, err := decode.Polls(serialTable(t, "serial-ascii-hex"), []uint32{256}); err == nil {
		t.Error("a pack whose address does not fit is asked")
	}
}

// TestUnknownFramesAreShown holds that a frame of no message is kept apart by the
// values of its parts, and shown by them.
func TestUnknownFramesAreShown(t *testing.T) {
	c := serialTable(t, "serial-fixed")
	d := decode.NewDecoder(c, "line")
	for id := range 3 {
		frame, err := c.Bus.Serial.Format.Append(nil, &[16]uint64{1: 1, 2: 0x97 + uint64(id)}, []byte{1, 2, 3, 4, 5, 6, 7, 8})
		if err != nil {
			t.Fatal(err)
		}
		for range id + 1 {
			d.Decode(&transport.Frame{Time: second, Medium: transport.Serial, Data: frame})
		}
	}
	ids := d.UnknownIDs()
	if len(ids) != 3 || ids[0].Frames != 3 || ids[0].String() != "address 0x01, id 0x99" || ids[0].Size != 8 || ids[0].Data[7] != 8 {
		t.Errorf("the unknown ids are %+v", ids)
	}
}

// TestLostBytesEndNothing has bytes go missing in the middle of a frame: what
// follows is not taken for its rest.
func TestLostBytesEndNothing(t *testing.T) {
	c := serialTable(t, "serial-parts")
	frame := c.Programs[0].Examples[0].Payload
	d := decode.NewDecoder(c, "line")
	d.Decode(&transport.Frame{Time: second, Medium: transport.Serial, Data: frame[:6]})
	d.Decode(&transport.Frame{Time: second, Medium: transport.Serial, Flags: transport.Lost, Data: frame[6:]})
	d.Decode(&transport.Frame{Time: second, Medium: transport.Serial, Flags: transport.Damaged, Data: frame})
	if got := counted(d); d.Packs() != 0 || got["half"] != 1 || got["noise"] != uint64(len(frame)-6+len(frame)) {
		t.Errorf("%d packs, counted %v", d.Packs(), got)
	}
	d.Decode(&transport.Frame{Medium: transport.CAN, Data: frame[:8]})
	if d.Counters()[decode.Foreign] != 1 {
		t.Error("a CAN frame is not foreign to a serial line")
	}
}

// TestSerialAllocatesNothing holds it for questions, answers and unknown frames,
// once the pack is known.
func TestSerialAllocatesNothing(t *testing.T) {
	for _, name := range serialMappings {
		c := serialTable(t, name)
		d := decode.NewDecoder(c, "line")
		line := bytes.Join(exampleBytes(c), nil)
		f := transport.Frame{Time: second, Medium: transport.Serial, Data: append([]byte{0xDD, 0x55}, line...)}
		d.Decode(&f)
		if n := testing.AllocsPerRun(100, func() { f.Time++; d.Decode(&f) }); n != 0 {
			t.Errorf("%s: %v allocations for a line of %d bytes", name, n, len(line))
		}
	}
}

func BenchmarkSerialDecode(b *testing.B) {
	for _, name := range serialMappings {
		c := serialTable(b, name)
		b.Run(name, func(b *testing.B) {
			d := decode.NewDecoder(c, "line")
			f := transport.Frame{Medium: transport.Serial, Data: bytes.Join(exampleBytes(c), nil)}
			b.SetBytes(int64(len(f.Data)))
			b.ReportAllocs()
			for b.Loop() {
				f.Time++
				d.Decode(&f)
			}
		})
	}
}

// FuzzSerialLine decodes any bytes by mappings of every coding: a record is valid
// JSON, and what is read can be written and is read again.
func FuzzSerialLine(f *testing.F) {
	var tables []*mapping.Compiled
	for _, name := range serialMappings {
		c := serialTable(f, name)
		tables = append(tables, c)
		line := bytes.Join(exampleBytes(c), nil)
		f.Add(line)
		f.Add(line[:len(line)-2])
		f.Add(append([]byte{0xDD, 3, 0, 255, '~', ':', 0x7E}, line...))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, c := range tables {
			d := decode.NewDecoder(c, "fuzz")
			d.Decode(&transport.Frame{Time: 1, Medium: transport.Serial, Data: data})
			lines := d.LineCounters()
			if lines.Bytes != uint64(len(data)) || lines.Noise > lines.Bytes {
				t.Errorf("%s: %+v of %d bytes", c.Name, lines, len(data))
			}
			var s pack.Status
			for i := range d.Packs() {
				d.Status(i, 1, &s)
				if record := s.AppendJSON(nil); !json.Valid(record) {
					t.Fatalf("not JSON: %s", record)
				}
				for j := range c.Programs {
					_ = decode.NewWriter(c).Frames(&c.Programs[j], &s, func(*transport.Frame) error { return nil })
				}
			}
		}
	})
}
