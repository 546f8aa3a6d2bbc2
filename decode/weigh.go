package decode

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"
	"time"

	"packlink/decode/pack"
	"packlink/mapping"
)

// evidence runs every test on what the witness saw of a channel, over a span of
// nanoseconds.
func (w *witness) evidence(c *candidate, span int64) Evidence {
	e := Evidence{Table: c.table}
	counters := w.decoder.Counters()
	e.Frames, e.Explained = counters.Frames()-counters[Foreign]-counters[Part], counters[Decoded]
	if e.Explained == 0 {
		e.add("frames", 0, "none of %d is its own", e.Frames)
		return e
	}
	w.weighFrames(&e)
	w.weighMessages(&e, span)
	w.weighLengths(&e, &counters)
	w.weighValues(&e, c.expected)
	w.weighSums(&e)
	w.weighPeriods(&e)
	return e
}

// weighFrames asks how much of the traffic the mapping knows.
func (w *witness) weighFrames(e *Evidence) {
	share := float64(e.Explained) / float64(e.Frames)
	bits := 0.0
	switch {
	case share >= 0.9:
		bits = 6
	case share >= 0.5:
		bits = 2
	case share < 0.1:
		bits = -10
	}
	e.add("frames", bits, "%d of %d are its own (%.0f %%)", e.Explained, e.Frames, 100*share)
}

// Bits that a message says by being there, and by being absent although it was
// due several times.
const (
	mostMessageBits = 16
	absentBits      = -1
	absentAfter     = 5 // periods
)

// weighMessages asks which of the mapping's messages are heard. One that is
// heard again and again is no accident, as few ids are the mapping's; nor is one
// that is heard among few others.
func (w *witness) weighMessages(e *Evidence, span int64) {
	sum, heard, due, again := 0.0, 0, 0, 3
	if 2*e.Explained >= e.Frames {
		again = 1
	}
	for m := range e.Table.Programs {
		p := &e.Table.Programs[m]
		switch {
		case p.Passed:
		case w.heard[m] >= again:
			sum += messageBits(e.Table, p)
			heard++
			due++
		case w.heard[m] > 0:
			heard++
			due++
		case p.Every > 0 && span > absentAfter*int64(p.Every):
			sum += absentBits
			due++
		}
	}
	e.add("messages", sum, "%d of the %d that were due are heard", heard, due)
}

// messageBits is how rare a frame of the message is among frames of any id.
func messageBits(table *mapping.Compiled, p *mapping.Program) float64 {
	if p.Frame != nil {
		return mostMessageBits // its check value holds, and the values of its parts
	}
	if p.CAN == nil {
		return 4 // a block of registers that is read: many devices have such registers
	}
	fixed := bits.OnesCount32(p.CAN.Mask())
	for _, test := range p.Tests {
		fixed += bits.OnesCount64(test.Mask)
	}
	rarity := float64(fixed) - math.Log2(float64(len(table.Programs)))
	return min(max(rarity, 0), mostMessageBits)
}

// weighLengths asks whether frames that bear the mapping's ids have its lengths.
func (w *witness) weighLengths(e *Evidence, counters *Counters) {
	wrong := counters[Short] + counters[Long] + counters[OutOfRange] + counters[Gap] + counters[Malformed]
	if wrong == 0 {
		e.add("lengths", 0, "every length and count is right")
		return
	}
	share := float64(wrong) / float64(wrong+e.Explained)
	e.add("lengths", -40*share, "%d frames have its ids, but not its lengths or counts", wrong)
}

// measured are the quantities that every pack measures. If no pack can have what
// a mapping reads there, it is not the mapping.
var measured = []pack.Quantity{pack.Voltage, pack.Current, pack.SOC, pack.Cells}

// weighValues asks whether values lie where those of a pack do.
func (w *witness) weighValues(e *Evidence, expected expectations) {
	sum, good, refuted := 0.0, 0, false
	var strange []string
	for m := range w.values {
		for q := range pack.Count {
			j := w.values[m][q]
			if j == nil {
				continue
			}
			weight := j.weight(expected[m][q])
			sum += weight
			refuted = refuted || j.impossible() && slices.Contains(measured, q)
			switch {
			case weight > 0:
				good++
			case weight < 0:
				strange = append(strange, q.String())
			}
		}
	}
	text := fmt.Sprintf("%d quantities lie where those of a pack do", good)
	if len(strange) > 0 {
		slices.Sort(strange)
		text += "; these do not: " + strings.Join(slices.Compact(strange), ", ")
	}
	e.add("values", sum, "%s", text)
	if refuted {
		e.refute()
	}
}

// weighSums asks whether the cells add up to the voltage.
func (w *witness) weighSums(e *Evidence) {
	switch n := w.sums.good + w.sums.bad; {
	case n < 3:
	case 4*w.sums.good >= 3*n:
		e.add("cells", 8, "the cells add up to the voltage, %d of %d times", w.sums.good, n)
	case 2*w.sums.bad >= n:
		e.add("cells", -12, "the cells do not add up to the voltage, %d of %d times", w.sums.bad, n)
		e.refute()
	}
}

// weighPeriods asks whether messages that a pack sends by itself come as often
// as the mapping says. How often one that is asked for comes is up to others.
func (w *witness) weighPeriods(e *Evidence) {
	bits, right, wrong := 0.0, 0, 0
	for m := range w.gaps {
		p := &e.Table.Programs[m]
		if p.CAN == nil || p.Every == 0 || w.gaps[m].n < 3 || len(w.decoder.packs) > 1 {
			continue
		}
		median := time.Duration(w.gaps[m].median())
		if median > p.Every/2 && median < 2*p.Every {
			right++
			bits += 2
		} else {
			wrong++
			bits--
		}
	}
	if right+wrong > 0 {
		e.add("periods", bits, "%d of %d messages come as often as they should", right, right+wrong)
	}
}
