package decode

import (
	"fmt"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// Evidence is how well a mapping explains some traffic.
type Evidence struct {
	Table    *mapping.Compiled
	Frames   uint64 // frames there were
	Decoded  uint64 // frames it could read
	Rejected uint64 // frames it knows by their id but could not read
	Messages int    // different messages among the decoded frames
	Suspect  int    // packs that show a value outside its plausible range
}

// Explains tells whether the evidence is good enough to choose the mapping by.
// On a CAN bus it reads nine frames of ten and at least three different
// messages. On a line of registers, which is shared with others, it reads twenty
// answers and half of its messages, and refuses none. What it reads is plausible.
func (e *Evidence) Explains() bool {
	if e.Table.Bus.Registers != nil {
		return e.Decoded >= 20 && 2*e.Messages >= len(e.Table.Programs) && e.Rejected == 0 && e.Suspect == 0
	}
	return e.Decoded*10 >= e.Frames*9 && e.Messages >= 3 && e.Rejected*20 <= e.Frames && e.Suspect == 0
}

// String is the evidence in a sentence.
func (e *Evidence) String() string {
	return fmt.Sprintf("%s reads %d of %d frames (%d of its %d messages), rejects %d, implausible packs %d",
		e.Table.Name, e.Decoded, e.Frames, e.Messages, len(e.Table.Programs), e.Rejected, e.Suspect)
}

// Trial tries several mappings on the same traffic.
type Trial struct {
	tables   []*mapping.Compiled
	decoders [][]*Decoder // by mapping, then channel
	newest   int64
}

// NewTrial begins a trial of the mappings that frames can be heard of: those of
// a CAN bus, and of registers at fixed addresses.
func NewTrial(tables []*mapping.Compiled) *Trial {
	t := &Trial{}
	for _, c := range tables {
		if c.Bus.CAN != nil || c.Bus.Registers.ModelsAt < 0 {
			t.tables = append(t.tables, c)
		}
	}
	t.decoders = make([][]*Decoder, len(t.tables))
	return t
}

// Frame shows a frame to every mapping.
func (t *Trial) Frame(f *transport.Frame) {
	t.newest = max(t.newest, f.Time)
	for i, c := range t.tables {
		for len(t.decoders[i]) <= f.Channel {
			t.decoders[i] = append(t.decoders[i], NewDecoder(c, ""))
		}
		t.decoders[i][f.Channel].Decode(f)
	}
}

// Result is the evidence for each mapping, and the one that explains the
// traffic: nil if none does, or more than one.
func (t *Trial) Result() (chosen *mapping.Compiled, all []Evidence) {
	explaining := 0
	for i, c := range t.tables {
		e := Evidence{Table: c}
		for _, d := range t.decoders[i] {
			counters := d.Counters()
			e.Frames += counters.Frames()
			e.Decoded += counters[Decoded]
			e.Rejected += counters.Rejected()
			e.Messages = max(e.Messages, d.Messages())
			e.Suspect += d.suspects(t.newest)
		}
		if e.Explains() {
			explaining++
			chosen = c
		}
		all = append(all, e)
	}
	if explaining != 1 {
		chosen = nil
	}
	return chosen, all
}

// suspects is how many packs show a value outside its plausible range.
func (d *Decoder) suspects(now int64) (n int) {
	var s pack.Status
	for i := range d.packs {
		if d.Status(i, now, &s); s.Suspect() {
			n++
		}
	}
	return n
}
