package main

import (
	"bytes"
	"context"
	"math"
	"testing"
	"time"

	"go.bug.st/serial"

	"packlink/decode"
	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/decode/physics"
	"packlink/decode/physics/scenario"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

// serialTables are the built-in mappings of serial lines.
func serialTables(t *testing.T) (all []*mapping.Compiled) {
	t.Helper()
	for _, name := range library.Names() {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		if c.Bus.Serial != nil {
			all = append(all, c)
		}
	}
	return all
}

// answersOn answers on a serial line as left/1, at the address 1, and gives the other
// end of the line.
func answersOn(t *testing.T, c *mapping.Compiled) (o *answersOutput, theirs string) {
	t.Helper()
	ours, theirs := serialCable(t)
	plan := &outputPlan{to: transport.Endpoint{Scheme: "serial", Address: ours}, table: c, units: []shownUnit{leftAt(1)}}
	o, err := newAnswersOutput(plan, &logged{})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- o.run(ctx) }()
	t.Cleanup(func() { cancel(); <-done })
	return o, theirs
}

// wholePack is a bank of one pack, left/1, of which everything is known that the model
// of a pack has.
func wholePack(t *testing.T, fresh bool) *bank.Bank {
	t.Helper()
	now := time.Now().UnixNano()
	plan, err := scenario.Load("two-packs")
	if err != nil {
		t.Fatal(err)
	}
	model, err := physics.NewBank(plan, now)
	if err != nil {
		t.Fatal(err)
	}
	var s pack.Status
	model.Status(0, &s)
	s.Source, s.Fresh = "left", fresh
	return bank.Sum("shed", pack.Decimal{}, now, []pack.Status{s})
}

// TestAnswersOnALine polls an output on a real serial line with the questions of every
// built-in mapping, and wants what is shown.
func TestAnswersOnALine(t *testing.T) {
	for _, c := range serialTables(t) {
		t.Run(c.Name, func(t *testing.T) {
			o, theirs := answersOn(t, c)
			o.publish(wholePack(t, true), nil)
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			r, err := ask(ctx, withLineOf(transport.Endpoint{Scheme: "serial", Address: theirs}, c), c, []uint32{1}, func(string) {})
			if err != nil {
				t.Fatal(err)
			}
			defer r.Close()
			time.AfterFunc(10*time.Second, cancel)
			d, f := decode.NewDecoder(c, "line"), transport.Frame{}
			var s pack.Status
			for !s.Has(pack.Voltage) {
				if err := r.Receive(&f); err != nil {
					t.Fatalf("no voltage is heard: %v; %+v", err, d.LineCounters())
				}
				if d.Decode(&f); d.Packs() > 0 {
					d.Status(0, time.Now().UnixNano(), &s)
				}
			}
			want, _ := wholePack(t, true).Packs[0].Usable(pack.Voltage)
			if got, _ := s.Usable(pack.Voltage); math.Abs(got.Float64()-want.Float64()) > 0.05 {
				t.Errorf("the voltage is %s, want %s within the steps of the protocol", got, want)
			}
		})
	}
}

// TestAnswersNothingElse holds that noise, a damaged question, an unknown one and one to
// another pack are not answered, that a silent pack is not, and that the next good
// question is.
func TestAnswersNothingElse(t *testing.T) {
	for _, c := range serialTables(t) {
		t.Run(c.Name, func(t *testing.T) {
			o, theirs := answersOn(t, c)
			o.publish(wholePack(t, true), nil)
			port, err := serial.Open(theirs, &serial.Mode{BaudRate: 9600})
			if err != nil {
				t.Fatal(err)
			}
			defer port.Close()
			good := questionFor(t, c, pack.Voltage, 1)
			damaged := bytes.Clone(good)
			damaged[len(damaged)/2] ^= 1
			for what, sent := range map[string][]byte{
				"noise": bytes.Repeat([]byte{0x55, 0xDD, 0x7E, 0xA5}, 50), "a damaged question": damaged, "half a question": good[:len(good)-1],
			} {
				if got := exchange(t, port, sent); len(got) > 0 {
					t.Errorf("%s is answered by % X", what, got)
				}
			}
			if c.AsksByAddress() {
				if got := exchange(t, port, questionFor(t, c, pack.Voltage, 2)); len(got) > 0 {
					t.Errorf("a question to another pack is answered by % X", got)
				}
			}
			exchange(t, port, good) // may end what stood before it
			if got := exchange(t, port, good); len(got) == 0 {
				t.Error("a good question behind all that is not answered")
			}
			o.publish(wholePack(t, false), nil)
			if got := exchange(t, port, good); len(got) > 0 {
				t.Errorf("of a silent pack is said % X", got)
			}
		})
	}
}

// questionFor is a question whose answer gives a quantity.
func questionFor(t *testing.T, c *mapping.Compiled, q pack.Quantity, address uint32) []byte {
	t.Helper()
	for i := range c.Programs {
		p := &c.Programs[i]
		for j := range p.Body.All {
			if op := &p.Body.All[j]; p.Ask != nil && op.Target != nil && op.Quantity == q {
				question, err := decode.Question(p, address, nil)
				if err != nil {
					t.Fatal(err)
				}
				return question
			}
		}
	}
	t.Fatalf("%s has no %s", c.Name, q)
	return nil
}

// exchange sends bytes and returns what comes within a quarter of a second.
func exchange(t *testing.T, port serial.Port, sent []byte) (got []byte) {
	t.Helper()
	if _, err := port.Write(sent); err != nil {
		t.Fatal(err)
	}
	if err := port.SetReadTimeout(250 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	buffer := make([]byte, 512)
	for {
		n, err := port.Read(buffer)
		if err != nil {
			t.Fatal(err)
		}
		if n == 0 {
			return got
		}
		got = append(got, buffer[:n]...)
	}
}
