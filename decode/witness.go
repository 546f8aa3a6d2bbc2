package decode

import (
	"math"
	"slices"
	"time"

	"packlink/decode/pack"
	"packlink/mapping"
)

// witness decodes one channel by one mapping and notes what a test can hold
// against it.
type witness struct {
	decoder *Decoder
	values  []map[pack.Quantity]*judgement // by message
	heard   []int                          // frames of each message
	newest  []int64                        // time of each message's newest frame, of any pack
	gaps    []gaps                         // between frames of each message
	sums    judgement                      // of the cells against the voltage
	summed  summed
}

// gaps are times between the frames of a message: the last of them, in a ring.
type gaps struct {
	last [64]int64
	n    int
}

func (g *gaps) add(gap int64) {
	g.last[g.n%len(g.last)] = gap
	g.n++
}

func (g *gaps) median() int64 {
	some := slices.Clone(g.last[:min(g.n, len(g.last))])
	slices.Sort(some)
	return some[len(some)/2]
}

func newWitness(table *mapping.Compiled) *witness {
	n := len(table.Programs)
	w := &witness{
		decoder: NewDecoder(table, ""),
		values:  make([]map[pack.Quantity]*judgement, n),
		summed:  summed{counts: make(map[uint32]*int)},
		heard:   make([]int, n), newest: make([]int64, n), gaps: make([]gaps, n),
	}
	for i := range w.values {
		w.values[i] = make(map[pack.Quantity]*judgement)
	}
	w.decoder.decoded = w.judge
	return w
}

// judge looks at what a message has just written.
func (w *witness) judge(h *heard, message int, at int64) {
	w.hear(message, at)
	for q, s := range spans {
		if !q.Row().Kind.List() {
			w.value(q, h.status.Value(q), s, message, at)
			continue
		}
		for _, v := range h.status.Elements(q) {
			w.value(q, v, s, message, at)
		}
	}
	w.sum(h, at)
}

func (w *witness) hear(message int, at int64) {
	if w.heard[message] > 0 && at >= w.newest[message] {
		w.gaps[message].add(at - w.newest[message])
	}
	w.heard[message]++
	w.newest[message] = at
}

// value judges a value that the message has just written.
func (w *witness) value(q pack.Quantity, v pack.Value, s span, message int, at int64) {
	if v.At != at || int(v.By) != message || v.Trust&pack.Known == 0 {
		return
	}
	j := w.values[message][q]
	if j == nil {
		j = new(judgement)
		w.values[message][q] = j
	}
	j.add(v, s)
}

// summed is where the cells of an instant were counted.
type summed struct {
	at     int64
	counts map[uint32]*int // by pack's address: of the witness's judgement
}

// sum holds the cells of a pack against its voltage, which are measured apart:
// 2 % is common practice, no source. The cells of an instant count once, by the
// voltage after the last message of that instant: an answer can span several.
func (w *witness) sum(h *heard, at int64) {
	cells := h.status.Elements(pack.Cells)
	voltage := h.status.Value(pack.Voltage)
	if len(cells) < 2 || cells[0].At != at || voltage.Trust&pack.Known == 0 || at-voltage.At > int64(5*time.Second) {
		return
	}
	sum := 0.0
	for _, c := range cells {
		if c.Trust&pack.Known == 0 {
			return
		}
		sum += c.Decimal().Float64()
	}
	if w.summed.at != at {
		w.summed.at = at
		clear(w.summed.counts)
	}
	if earlier := w.summed.counts[h.address]; earlier != nil {
		*earlier--
	}
	whole := voltage.Decimal().Float64()
	count := &w.sums.bad
	if math.Abs(sum-whole) <= 0.02*math.Abs(whole) {
		count = &w.sums.good
	}
	*count++
	w.summed.counts[h.address] = count
}
