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
// serial line, and with registers over TCP too, in every built-in mapping of one.
func TestHourOnALine(t *testing.T) {
	for _, name := range library.Names() {
		c := hurried(t, name)
		if c.Bus.CAN != nil {
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
			anHour(t, c, "two-packs", transport.Endpoint{Scheme: scheme, Address: ours, Options: quick},
				transport.Endpoint{Scheme: "serial", Address: theirs, Options: quick})
		})
		if c.Bus.Registers == nil {
			continue
		}
		for _, plan := range []string{"two-packs", "capacity-test"} {
			t.Run(name+" by TCP, "+plan, func(t *testing.T) {
				t.Parallel()
				e := transport.Endpoint{Scheme: "modbus-tcp", Address: freePort(t)}
				anHour(t, c, plan, e, e)
			})
		}
	}
}

// TestGuestHourOnCAN is the same on a real CAN bus, in every built-in mapping of one.
func TestGuestHourOnCAN(t *testing.T) {
	needGuest(t)
	for _, name := range library.Names() {
		if c := hurried(t, name); c.Bus.CAN != nil {
			t.Run(name, func(t *testing.T) {
				e := transport.Endpoint{Scheme: "can", Address: "vcan0"}
				anHour(t, c, "two-packs", e, e)
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

// saidBy are the quantities that each mapping's document has for certain.
var saidBy = map[string][]pack.Quantity{
	"canopen-battery":   {pack.Voltage, pack.SOC, pack.Temp, pack.Nominal},
	"homebrew-can":      {pack.Voltage, pack.Current, pack.SOC, pack.Cells, pack.Temps},
	"homebrew-modbus":   {pack.Voltage, pack.Current, pack.SOC, pack.Cells, pack.Temps},
	"j1939-battery":     {pack.Voltage, pack.Current, pack.Temps},
	"marrowfen-mf16":    {pack.Voltage, pack.Current, pack.SOC, pack.Cells, pack.Temps},
	"nmea2000-battery":  {pack.Voltage, pack.Current, pack.SOC, pack.Temp},
	"rvc-dc-source":     {pack.Voltage, pack.Current, pack.SOC},
	"storage-can-35x":   {pack.Voltage, pack.Current, pack.SOC, pack.CellMax, pack.ChargeCurrentLimit},
	"sunspec-battery":   {pack.Voltage, pack.Current, pack.SOC, pack.Cells},
	"telecom-ascii-hex": {pack.Voltage, pack.Current, pack.Remaining, pack.Cells, pack.Temps},
	"uart-a5":           {pack.Voltage, pack.Current, pack.SOC, pack.Cells},
	"uart-dd77":         {pack.Voltage, pack.Current, pack.SOC, pack.Cells},
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

// anHour shows the bank of a scenario in each minute of an hour at an endpoint until all
// that reaches another endpoint was heard there as it is shown.
func anHour(t *testing.T, c *mapping.Compiled, of string, to, from transport.Endpoint) {
	s := &spoken{T: t, table: c, decoder: decode.NewDecoder(c, simulated), held: make(map[pack.Quantity]int)}
	plan, err := scenario.Load(of)
	if err != nil {
		t.Fatal(err)
	}
	if s.model, err = physics.NewBank(plan, time.Now().UnixNano()); err != nil {
		t.Fatal(err)
	}
	s.connect(to, from)
	for minute := range 60 {
		s.model.Step(time.Minute)
		s.await(minute, simulate.Sum(s.model, simulated))
	}
	said, known := saidBy[c.Name]
	if !known {
		t.Errorf("write into saidBy what mapping %s says", c.Name)
	}
	for _, q := range said {
		if s.held[q] < 60 {
			t.Errorf("%s was held %d times against the truth", q, s.held[q])
		}
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

// await shows a bank, and hears the bus until all of it was heard that reaches a reader.
func (s *spoken) await(minute int, shown *bank.Bank) {
	packs := shown.Packs
	if s.table.OneOnABus() {
		packs = packs[:1]
	}
	reaches := make([][]decode.Reach, len(packs))
	for i := range packs {
		reaches[i] = s.reaches(&packs[i])
	}
	s.out.publish(shown, nil)
	f, wrong := transport.Frame{}, "nothing is heard"
	for begun := time.Now(); wrong != ""; wrong = s.differs(packs, reaches) {
		if err := s.bus.Receive(&f); err != nil || time.Since(begun) > 20*time.Second {
			s.Fatalf("in minute %d: %s; %v", minute, wrong, err)
		}
		s.decoder.Decode(&f)
	}
}

// reaches is what reaches a reader of a pack. Of registers in models that is what groups
// for each pack say: what they say of a bank of several is of no pack.
func (s *spoken) reaches(truth *pack.Status) []decode.Reach {
	whole := truth
	if bus := s.table.Bus.Registers; bus != nil && bus.ModelsAt >= 0 && s.model.Packs() > 1 {
		whole = new(pack.Status)
	}
	return decode.Cover(whole, truth, nil, s.table).Reaches
}

// differs is what of the packs is heard in another way than it is shown; "" if there is
// nothing.
func (s *spoken) differs(packs []pack.Status, reaches [][]decode.Reach) string {
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
		for _, r := range reaches[i] {
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
			if i >= len(got) || apart(r, want[i].Decimal(), got[i].Decimal(), want[i].Decimal()) {
				return fmt.Sprintf("%s is heard as %v, and is %v", q, got, want)
			}
		}
		return ""
	}
	want, known := truth.Usable(q)
	got, heard := s.heard.Usable(q)
	most := want
	if rated, known := truth.Usable(pack.NominalEnergy); known && q == pack.RemainingEnergy {
		most = rated // both have one scale factor in SunSpec model 713
	}
	if known && (!heard || apart(r, want, got, most)) {
		return fmt.Sprintf("%s is heard as %s, %t, and is %s", q, got, heard, want)
	}
	return ""
}

// apart tells whether two numbers differ by more than a step. Where that depends on the
// value no digit is lost, unless sixteen bits are too few for the largest number.
func apart(r *decode.Reach, want, got, most pack.Decimal) bool {
	step := math.Abs(r.Step.Float64())
	if step == 0 {
		finest := math.Pow10(int(want.Exp))
		for step = finest; math.Abs(most.Float64())/step > 0xFFFE; {
			step *= 10
		}
		if step == finest {
			return want.Cmp(got) != 0
		}
	}
	return math.Abs(want.Float64()-got.Float64()) > step*1.0001
}
