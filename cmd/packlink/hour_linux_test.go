package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/decode/physics"
	"packlink/decode/physics/scenario"
	"packlink/decode/simulate"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

// TestHourOnALine lets a simulated bank speak for an hour of simulated time on a real
// serial line, and with registers over TCP too, in every built-in mapping of one. The
// registers in models are read by the published definitions: see modelReader.
func TestHourOnALine(t *testing.T) {
	for _, name := range library.Names() {
		c := hurried(t, name)
		if c.Bus.CAN != nil || c.Bus.Registers != nil && c.Bus.Registers.ModelsAt >= 0 {
			continue
		}
		t.Run(name+" by a line", func(t *testing.T) {
			t.Parallel()
			ours, theirs := serialCable(t)
			scheme := "serial"
			if c.Bus.Registers != nil {
				scheme = "modbus-rtu"
			}
			quick := map[string]string{"baud": "115200"}
			anHour(t, c, transport.Endpoint{Scheme: scheme, Address: ours, Options: quick},
				transport.Endpoint{Scheme: "serial", Address: theirs, Options: quick})
		})
		if c.Bus.Registers != nil {
			t.Run(name+" by TCP", func(t *testing.T) {
				t.Parallel()
				e := transport.Endpoint{Scheme: "modbus-tcp", Address: freePort(t)}
				anHour(t, c, e, e)
			})
		}
	}
}

// often is the period of every message in these tests, in place of the mapping's own, of
// up to minutes.
const often = 20 * time.Millisecond

// hurried is a built-in mapping whose messages come often; what is overdue is not overdue
// sooner.
func hurried(t *testing.T, name string) *mapping.Compiled {
	t.Helper()
	c, err := library.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	if c.Bus.Serial != nil {
		c.Bus.Serial.Quiet, c.Bus.Serial.AnswerWithin = time.Millisecond, 100*time.Millisecond
	}
	for i := range c.Programs {
		p := &c.Programs[i]
		p.Every = often
		if p.Ask != nil {
			p.Ask.Every = often
		}
		if p.CAN != nil && p.CAN.Ask != nil {
			p.CAN.Ask.Every = often
		}
	}
	return c
}

// spoken is a simulated bank that speaks, and a decoder that hears it.
type spoken struct {
	*testing.T
	table   *mapping.Compiled
	model   *physics.Bank
	out     output
	bus     transport.Receiver
	decoder *decode.Decoder
	heard   pack.Status
	held    map[pack.Quantity]int // how often a quantity was held against the truth
}

// anHour shows the bank of each minute of an hour at an endpoint until all that
// reaches another endpoint was heard there as it is shown.
func anHour(t *testing.T, c *mapping.Compiled, to, from transport.Endpoint) {
	s := &spoken{T: t, table: c, decoder: decode.NewDecoder(c, simulated), held: make(map[pack.Quantity]int)}
	plan, err := scenario.Load("two-packs")
	if err != nil {
		t.Fatal(err)
	}
	if s.model, err = physics.NewBank(plan, time.Now().UnixNano()); err != nil {
		t.Fatal(err)
	}
	s.connect(to, from)
	for minute := range 60 {
		s.model.Step(time.Minute)
		shown := simulate.Sum(s.model, simulated)
		s.out.publish(shown, nil)
		s.await(minute, shown)
	}
	if len(s.held) < 3 {
		t.Errorf("only these quantities were held against the truth: %v", s.held)
	}
}

// connect lets the bank speak at an endpoint, and hears another.
func (s *spoken) connect(to, from transport.Endpoint) {
	o := &outputPlan{to: to, table: s.table, transmit: outputKinds[to.Scheme].transmits, units: (&simulateJob{table: s.table}).units(s.model)}
	var err error
	if s.out, err = o.open(&streams{io.Discard, &logged{}}); err != nil {
		s.Fatal(err)
	}
	ctx, cancel := context.WithCancel(s.Context())
	done := make(chan error, 1)
	go func() { done <- s.out.run(ctx) }()
	var addresses []uint32
	for _, u := range o.units {
		addresses = append(addresses, u.unit)
	}
	if s.bus, err = ask(ctx, withLineOf(from, s.table), s.table, addresses, func(string) {}); err != nil {
		s.Fatal(err)
	}
	time.AfterFunc(3*time.Minute, cancel)
	s.Cleanup(func() { cancel(); <-done; s.bus.Close() })
}

// await hears the bus until all that is shown was heard.
func (s *spoken) await(minute int, shown *bank.Bank) {
	f, wrong := transport.Frame{}, "nothing is heard"
	for begun := time.Now(); wrong != ""; wrong = s.differs(shown) {
		if err := s.bus.Receive(&f); err != nil || time.Since(begun) > 20*time.Second {
			s.Fatalf("in minute %d: %s; %v", minute, wrong, err)
		}
		s.decoder.Decode(&f)
	}
}

// differs is what of the packs that speak is heard in another way than it is shown; ""
// if there is nothing.
func (s *spoken) differs(shown *bank.Bank) string {
	packs := shown.Packs
	if s.table.OneOnABus() {
		packs = packs[:1]
	}
	if s.decoder.Packs() < len(packs) {
		return fmt.Sprintf("%d packs are heard", s.decoder.Packs())
	}
	for i := range packs {
		truth := &packs[i]
		for n := range s.decoder.Packs() {
			if s.decoder.Status(n, time.Now().UnixNano(), &s.heard); !s.heard.HasAddress || s.heard.Address == truth.Address {
				break
			}
		}
		for _, r := range decode.Cover(truth, truth, nil, s.table).Reaches {
			if wrong := s.differ(&r, truth); wrong != "" {
				return fmt.Sprintf("of pack %d: %s", truth.Address, wrong)
			}
		}
	}
	return ""
}

// differ is how a quantity is heard in another way than it is, beyond a step of the
// protocol.
func (s *spoken) differ(r *decode.Reach, truth *pack.Status) string {
	q := r.Quantity
	s.held[q]++
	switch {
	case q.Row().Kind == pack.Word:
		if len(truth.Text(q)) > 0 && len(s.heard.Text(q)) == 0 {
			return q.String() + " is not heard"
		}
		return ""
	case q.Row().Kind.List():
		want, got := truth.Elements(q), s.heard.Elements(q)
		for i := range min(len(want), r.Elements) {
			if i >= len(got) || apart(r, want[i].Decimal(), got[i].Decimal()) {
				return fmt.Sprintf("%s is heard as %v, and is %v", q, got, want)
			}
		}
		return ""
	}
	want, known := truth.Usable(q)
	got, heard := s.heard.Usable(q)
	if known && (!heard || apart(r, want, got)) {
		return fmt.Sprintf("%s is heard as %s, %t, and is %s", q, got, heard, want)
	}
	return ""
}

// apart tells whether two numbers differ by more than a step.
func apart(r *decode.Reach, want, got pack.Decimal) bool {
	return math.Abs(want.Float64()-got.Float64()) > math.Abs(r.Step.Float64())*1.0001
}
