package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"packlink/decode"
	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/decode/simulate"
	"packlink/mapping"
	"packlink/transport"
	"packlink/transport/feed"
)

// frames tells whether the output is one of frames on a bus.
func (p *outputPlan) frames() bool { return outputKinds[p.to.Scheme].frames }

// checkFrames finds out whether the mapping is one of the output's kind of bus.
func (p *outputPlan) checkFrames() error {
	switch serial := p.to.Scheme == "serial"; {
	case p.table == nil || !serial && p.table.Bus.CAN == nil:
		return fmt.Errorf("%s needs a mapping of its bus, such as storage-can-35x for CAN", p.to)
	case serial && (p.table.Bus.Serial == nil || !p.table.HasQuestions()):
		return fmt.Errorf("%s needs a mapping of a serial line with questions to answer; mapping %s has none", p.to, p.table.Name)
	}
	return nil
}

// framesOutput transmits the messages of a mapping: those that are asked for when
// they are, the others each at its own period. What is not known or overdue is not
// sent, and an old frame never is.
type framesOutput struct {
	plan   *outputPlan
	log    io.Writer
	newest atomic.Pointer[published]
	unsent atomic.Uint64 // messages, as a value did not fit
	asks   *decode.Questions
	faults *simulate.Faults // of a wire that misbehaves; nil for every output of a bridge
	delay  time.Duration    // before an answer, of a pack that is slow on purpose

	mu      sync.Mutex       // guards what follows
	writers []*decode.Writer // one for each thing that is shown
	status  pack.Status      // what is being written
	silent  transitions
	tooBig  transitions
}

// published is a state of the bank, and when it was given.
type published struct {
	bank *bank.Bank
	at   time.Time
}

func newFramesOutput(p *outputPlan, log io.Writer) (*framesOutput, error) {
	o := &framesOutput{plan: p, log: log, silent: transitions{}, tooBig: transitions{}}
	var addresses []uint32
	for _, u := range p.units {
		addresses = append(addresses, u.unit)
		o.writers = append(o.writers, decode.NewWriter(p.table))
	}
	asks, err := decode.NewQuestions(p.table, addresses)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", p.to, err)
	}
	o.asks = asks
	return o, nil
}

func (o *framesOutput) publish(b *bank.Bank, _ []feed.SourceHealth) {
	o.newest.Store(&published{b, time.Now()})
}

// send gives a message of one of the things that are shown to out, if that is heard
// and the message has something to say of it.
func (o *framesOutput) send(i int, p *mapping.Program, out func(*transport.Frame) error) {
	o.mu.Lock()
	defer o.mu.Unlock()
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
	o.unfitting(u.text, p, o.writers[i].Frames(p, &o.status, func(f *transport.Frame) error {
		if o.faults != nil && !o.faults.Pass(f) {
			return nil
		}
		return out(f)
	}))
}

// shownAt hands over what is shown at an address.
func (o *framesOutput) shownAt(address uint32, take func(i int)) {
	for i := range o.plan.units {
		if o.plan.units[i].unit == address {
			take(i)
		}
	}
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

// tell logs one of two texts.
func (o *framesOutput) tell(first bool, is, isNot string) {
	if !first {
		is = isNot
	}
	fmt.Fprintf(o.log, "output %s: %s\n", o.plan.to, is)
}

func (o *framesOutput) unfit() uint64 { return o.unsent.Load() }

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
