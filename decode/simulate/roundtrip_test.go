package simulate_test

import (
	"math"
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/decode/physics"
	"packlink/decode/physics/scenario"
	"packlink/decode/simulate"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

// noon is when the simulated time begins.
var noon = time.Date(2026, 5, 28, 12, 0, 0, 0, time.UTC).UnixNano()

func plan(t testing.TB, name string) *physics.Scenario {
	t.Helper()
	s, err := scenario.Load(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func newTraffic(t testing.TB, c *mapping.Compiled, scenario string, wire simulate.Wire) *simulate.Traffic {
	t.Helper()
	traffic, err := simulate.New(c, plan(t, scenario), noon, wire)
	if err != nil {
		t.Fatal(err)
	}
	return traffic
}

// TestRoundTrip lets a simulated bank speak every built-in mapping for an hour of
// simulated time, hears the frames with a decoder, and holds each message against what
// the speaker knew: equal within a step of the wire's resolution.
func TestRoundTrip(t *testing.T) {
	for _, name := range library.Names() {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := &roundTrip{T: t, table: c, seen: make(map[pack.Quantity]int)}
			r.run(newTraffic(t, c, "two-packs", simulate.Wire{}), time.Hour)
		})
	}
}

// roundTrip hears traffic and holds it against the truth.
type roundTrip struct {
	*testing.T
	table  *mapping.Compiled
	buses  []*decode.Decoder
	seen   map[pack.Quantity]int
	status pack.Status
}

func (r *roundTrip) run(traffic *simulate.Traffic, long time.Duration) {
	var f transport.Frame
	for f.Time < noon+int64(long) && !r.Failed() {
		if err := traffic.Receive(&f); err != nil {
			r.Fatal(err)
		}
		for len(r.buses) <= f.Channel {
			r.buses = append(r.buses, decode.NewDecoder(r.table, "bus"))
		}
		bus := r.buses[f.Channel]
		bus.Decode(&f)
		if s, programs, more := traffic.Said(); !more {
			r.compare(bus, s, programs, f.Time)
		}
	}
	for _, bus := range r.buses {
		counters, line := bus.Counters(), bus.LineCounters()
		if counters.Rejected() > 0 || line.Noise > 0 || line.BadChecksum > 0 {
			r.Errorf("some frames are not understood: %+v, %+v", counters, line)
		}
	}
	r.everythingSeen()
}

// everythingSeen holds that what reaches a reader by the tables of the mapping was heard.
func (r *roundTrip) everythingSeen() {
	known := new(pack.Status)
	r.status.CopyTo(known)
	for _, reach := range decode.Cover(known, known, nil, r.table).Reaches {
		if r.seen[reach.Quantity] == 0 && r.table.Bus.Registers == nil {
			r.Errorf("%s was never held against the truth", reach.Quantity)
		}
	}
	if len(r.seen) < 3 && (r.table.Bus.Registers == nil || r.table.Bus.Registers.ModelsAt < 0) {
		r.Errorf("only these quantities were held against the truth: %v", r.seen)
	}
}

// compare holds what was heard of the messages against what the speaker knew.
func (r *roundTrip) compare(bus *decode.Decoder, truth *pack.Status, programs []*mapping.Program, at int64) {
	if len(programs) == 0 {
		return
	}
	heard := r.pack(bus, truth, at)
	if heard == nil {
		r.Errorf("nothing is heard of pack %d", truth.Address)
		return
	}
	for _, p := range programs {
		for i := range p.Body.All {
			if op := &p.Body.All[i]; op.Target != nil && op.WhenSlot < 0 {
				r.field(p, op, truth, heard)
			}
		}
	}
}

// pack is what is heard of the speaker.
func (r *roundTrip) pack(bus *decode.Decoder, truth *pack.Status, at int64) *pack.Status {
	for i := range bus.Packs() {
		bus.Status(i, at, &r.status)
		if !r.status.HasAddress || r.status.Address == truth.Address {
			return &r.status
		}
	}
	return nil
}

// field holds one field against the truth.
func (r *roundTrip) field(p *mapping.Program, op *mapping.Op, truth, heard *pack.Status) {
	q := op.Quantity
	switch {
	case !truth.Has(q):
	case q.Row().Kind == pack.Word:
		r.seen[q]++
		if !(len(truth.Text(q)) > 0 && len(heard.Text(q)) > 0) {
			r.Errorf("%s: %s is heard as %q, and is %q", p.Name, q, heard.Text(q), truth.Text(q))
		}
	case q.Row().Kind.List():
		want, got := truth.Elements(q), heard.Elements(q)
		for e := op.Target.Element; e < min(len(want), op.Target.Element+max(op.Repetitions(), 1)*max(op.Pages, 1)); e++ {
			if e >= len(got) {
				r.Errorf("%s: %s[%d] is not heard", p.Name, q, e+1)
				return
			}
			r.equal(p, op, want[e].Decimal(), got[e].Decimal())
		}
	default:
		want, _ := truth.Usable(q)
		got, ok := heard.Usable(q)
		if !ok {
			r.Errorf("%s: %s is not heard, and is %s", p.Name, q, want)
			return
		}
		r.equal(p, op, want, got)
	}
}

// equal holds two numbers to one step of the field, and flags to equality.
func (r *roundTrip) equal(p *mapping.Program, op *mapping.Op, want, got pack.Decimal) {
	r.seen[op.Quantity]++
	step := math.Abs(op.Scale.Float64())
	if op.Kind == mapping.OpFlag || op.Kind == mapping.OpFlags {
		step = 0
	}
	if math.Abs(want.Float64()-got.Float64()) > step {
		r.Errorf("%s: %s is heard as %s, and is %s, with steps of %v", p.Name, op.Quantity, got, want, step)
	}
}
