package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync/atomic"
	"time"

	"packlink/decode"
	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
	"packlink/transport/canbus"
	"packlink/transport/feed"
)

// frames tells whether the output is one of frames on a bus.
func (p *outputPlan) frames() bool { return outputKinds[p.to.Scheme].frames }

// framesOutput transmits the messages of a mapping, each at its own period. What
// is not known or overdue is not sent, and an old frame never is.
type framesOutput struct {
	plan    *outputPlan
	bus     canbus.Bus
	log     io.Writer
	newest  atomic.Pointer[published]
	table   *decode.Timetable
	writers []*decode.Writer // one for each thing that is shown
	status  pack.Status      // what is being written
	unsent  atomic.Uint64    // messages, as a value did not fit
	silent  transitions
	tooBig  transitions
	failing transitions
}

// published is a state of the bank, and when it was given.
type published struct {
	bank *bank.Bank
	at   time.Time
}

func newFramesOutput(p *outputPlan, log io.Writer) (*framesOutput, error) {
	tell := func(text string) { fmt.Fprintf(log, "output %s\n", text) }
	bus, err := canbus.Open(withLineOf(p.to, p.table), func(event canbus.Event) { tell(event.String()) })
	if err != nil {
		return nil, withHint(err)
	}
	return newFramesOutputOn(bus, p, log), nil
}

func newFramesOutputOn(bus canbus.Bus, p *outputPlan, log io.Writer) *framesOutput {
	o := &framesOutput{
		plan: p, bus: bus, log: log, table: decode.NewTimetable(p.table, len(p.units)),
		silent: transitions{}, tooBig: transitions{}, failing: transitions{},
	}
	for range p.units {
		o.writers = append(o.writers, decode.NewWriter(p.table))
	}
	return o
}

func (o *framesOutput) publish(b *bank.Bank, _ []feed.SourceHealth) {
	o.newest.Store(&published{b, time.Now()})
}

// run transmits until ctx ends. What the bus says is not used, but an interface
// that was away is opened again by hearing it.
func (o *framesOutput) run(ctx context.Context) error {
	context.AfterFunc(ctx, func() { _ = o.bus.Close() })
	heard := make(chan error, 1)
	go func() { heard <- receive(ctx, o.bus, func(*transport.Frame) error { return nil }) }()
	o.transmitting(ctx)
	return <-heard
}

func (o *framesOutput) transmitting(ctx context.Context) {
	timer := time.NewTimer(0)
	defer timer.Stop()
	for begun := time.Now(); ; o.table.Skip(time.Since(begun)) {
		due, i, p, ok := o.table.Next()
		if !ok {
			return
		}
		timer.Reset(time.Until(begun.Add(due)))
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
			o.send(i, p)
		}
	}
}

// send transmits one message of one of the things that are shown, if it is heard
// and the message has something to say of it.
func (o *framesOutput) send(i int, p *mapping.Program) {
	u := &o.plan.units[i]
	state := o.newest.Load()
	if state == nil || time.Since(state.at) > feed.Overdue {
		return
	}
	known, fresh := u.status(state.bank)
	if o.silent.change(u.text, !fresh) {
		o.tell(fresh, u.text+" is heard, and sent", u.text+" is not heard: nothing of it is sent")
	}
	if !fresh || !decode.Says(p, known) {
		return
	}
	known.CopyTo(&o.status)
	o.status.Address, o.status.HasAddress = u.unit, true
	err := o.writers[i].Frames(p, &o.status, func(f *transport.Frame) error {
		o.sending(o.bus.Send(f))
		return nil
	})
	o.unfitting(u.text, p, err)
}

// unfitting notes whether a value did not fit a message, which is not sent then.
func (o *framesOutput) unfitting(what string, p *mapping.Program, err error) {
	var noRoom *decode.NoRoomError
	is := errors.As(err, &noRoom)
	if is {
		o.unsent.Add(1)
	}
	message := fmt.Sprintf("%s: message %q", what, p.Name)
	if o.tooBig.change(message, is) {
		o.tell(is, fmt.Sprintf("%s is not sent: %v", message, err), message+" fits again")
	}
}

// sending notes whether the bus takes what is sent.
func (o *framesOutput) sending(err error) {
	if errors.Is(err, os.ErrClosed) {
		return
	}
	if o.failing.change("", err != nil) {
		o.tell(err != nil, fmt.Sprintf("cannot send: %v", err), "sends again")
	}
}

// tell logs one of two texts.
func (o *framesOutput) tell(first bool, is, isNot string) {
	if !first {
		is = isNot
	}
	fmt.Fprintf(o.log, "output %s: %s\n", o.plan.to, is)
}

func (o *framesOutput) unfit() uint64 { return o.unsent.Load() }

func (o *framesOutput) Close() error { return o.bus.Close() }

func (o *framesOutput) where() string {
	shown := make([]string, len(o.plan.units))
	for i, u := range o.plan.units {
		shown[i] = u.text
		if o.plan.table.AddressBits() > 0 {
			shown[i] = fmt.Sprintf("address %d %s", u.unit, u.text)
		}
	}
	return fmt.Sprintf("%s  TRANSMITS %s: %s", o.plan.to, strings.Join(shown, ", "), o.plan.table.Title)
}

// transitions are yes-or-no states by name, of which changes are told.
type transitions map[string]bool

// change notes a state and tells whether it is another one than before; at first
// every state is no.
func (t transitions) change(name string, now bool) bool {
	before := t[name]
	t[name] = now
	return before != now
}
