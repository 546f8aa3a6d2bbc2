package decode

import (
	"cmp"
	"slices"

	"packlink/mapping"
	"packlink/transport"
)

// What identification asks for, in bits: a mapping that n bits speak for would
// explain other traffic by chance once in 2^n cases. The figures are chosen:
// random traffic stays far below, a hundred frames of a pack go far above.
const (
	bitsToBeSure   = 24
	leadToBeSure   = 10 // over every other mapping, and a quarter of the bits
	framesToBeSure = 8  // that the mapping explains
	mostAgainst    = 4  // a mapping is refuted once a quarter of what speaks for it speaks against it
)

// Trial tries several mappings on the same traffic, passively.
type Trial struct {
	candidates []*candidate
	newest     int64
	first      int64
	frames     uint64
}

// candidate is a mapping on trial, with a witness for each channel.
type candidate struct {
	table     *mapping.Compiled
	expected  expectations
	witnesses []*witness
}

// NewTrial begins a trial of the mappings.
func NewTrial(tables []*mapping.Compiled) *Trial {
	t := &Trial{}
	for _, table := range tables {
		t.candidates = append(t.candidates, &candidate{table: table, expected: expectationsOf(table)})
	}
	return t
}

// Frame shows a frame to every mapping.
func (t *Trial) Frame(f *transport.Frame) {
	if t.frames == 0 {
		t.first = f.Time
	}
	t.frames++
	t.newest = max(t.newest, f.Time)
	for _, c := range t.candidates {
		c.witness(f.Channel).decoder.Decode(f)
	}
}

// witness is the candidate's witness of a channel.
func (c *candidate) witness(channel int) *witness {
	for len(c.witnesses) <= channel {
		c.witnesses = append(c.witnesses, newWitness(c.table))
	}
	return c.witnesses[channel]
}

// Verdict is what a trial found.
type Verdict struct {
	Chosen     *mapping.Compiled // nil: not sure
	Frames     uint64            // frames that were shown; of a serial line, runs of bytes
	Candidates []Evidence        // of each mapping, the likeliest first
}

// Result weighs the evidence. A mapping is chosen only if it explains enough,
// little speaks against it, no other one comes near, and no other one is sure of
// its own frames: else it is not sure.
func (t *Trial) Result() Verdict {
	v := Verdict{Frames: t.frames}
	for _, c := range t.candidates {
		v.Candidates = append(v.Candidates, c.evidence(t.newest-t.first))
	}
	slices.SortStableFunc(v.Candidates, func(a, b Evidence) int { return cmp.Compare(b.Bits(), a.Bits()) })
	if len(v.Candidates) > 0 && v.Candidates[0].Sure() && v.rival() == nil {
		v.Chosen = v.Candidates[0].Table
	}
	return v
}

// rival is a mapping that comes too near the likeliest one, or that is sure of
// frames of its own; nil if there is none.
func (v *Verdict) rival() *Evidence {
	for i := range v.Candidates[1:] {
		if e := &v.Candidates[1+i]; e.Sure() || e.refuted() == nil && v.near(e) {
			return e
		}
	}
	return nil
}

// near tells whether about as much speaks for a mapping as for the likeliest one.
func (v *Verdict) near(e *Evidence) bool {
	best := v.Candidates[0].Bits()
	return best-e.Bits() < max(leadToBeSure, best/4)
}

// evidence is what speaks for and against the mapping, on the channel where
// most speaks for it.
func (c *candidate) evidence(span int64) (best Evidence) {
	best = Evidence{Table: c.table}
	for i, w := range c.witnesses {
		if e := w.evidence(c, span); i == 0 || e.Bits() > best.Bits() {
			best = e
		}
	}
	return best
}

// Doubt says in a few words why no mapping is chosen.
func (v *Verdict) Doubt() string {
	switch {
	case v.Frames == 0:
		return "nothing was heard"
	case len(v.Candidates) == 0 || v.Candidates[0].Explained == 0:
		return "no mapping knows anything of it"
	}
	best := &v.Candidates[0]
	if why := best.refuted(); why != nil {
		return "it cannot be " + best.Table.Name + ": " + why.Text
	}
	switch rival := v.rival(); {
	case !best.Sure() || rival == nil:
		return "what speaks for " + best.Table.Name + " is too little, or something speaks against it"
	case v.near(rival):
		return best.Table.Name + " and " + rival.Table.Name + " explain it alike"
	default:
		return best.Table.Name + " and " + rival.Table.Name + " are both heard"
	}
}
