package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync/atomic"

	"packlink/decode"
	"packlink/decode/bank"
	"packlink/transport/feed"
	"packlink/transport/modbus"
	"packlink/transport/serialbus"
)

// registersOutput answers Modbus reads of a layout.
type registersOutput struct {
	plan    *outputPlan
	layouts map[byte]*decode.Layouter // by unit
	units   *modbus.Units
	serve   func(ctx context.Context) error
	close   func() error
	place   string // where it answers
	log     io.Writer
	told    map[string]bool // what was told of, and is not told again

	tooBig map[byte]transitions // values by unit that do not fit their register
	missed atomic.Uint64        // how often one of them began
}

func (p *outputPlan) newRegisters(log io.Writer) *registersOutput {
	if len(p.units) == 0 {
		p.units = []shownUnit{{unit: bankUnit, text: wholeBank}}
	}
	o := &registersOutput{
		plan: p, layouts: make(map[byte]*decode.Layouter), units: new(modbus.Units), log: log,
		told: make(map[string]bool), tooBig: make(map[byte]transitions),
	}
	for _, u := range p.units {
		o.layouts[byte(u.unit)] = decode.NewLayouter(p.table)
		o.tooBig[byte(u.unit)] = transitions{}
	}
	return o
}

// openServer answers on TCP, with or without encryption. Who addresses the server
// itself gets the first unit of the plan.
func (p *outputPlan) openServer(listener net.Listener, log io.Writer) (output, error) {
	o := p.newRegisters(log)
	server, err := modbus.NewServer(o.units, byte(p.units[0].unit), p.security)
	if err != nil {
		return nil, err
	}
	o.place, o.close = listener.Addr().String(), listener.Close
	o.serve = func(ctx context.Context) error { return server.Serve(ctx, listener) }
	return o, nil
}

// openLine answers on a serial line, whose port is opened again when it is lost.
func (p *outputPlan) openLine(log io.Writer) (output, error) {
	o := p.newRegisters(log)
	answerer, err := p.answerer(o.units, func(e serialbus.Event) { fmt.Fprintf(log, "%s\n", e) })
	if err != nil {
		return nil, err
	}
	if err := answerer.Open(); err != nil {
		return nil, withHint(err)
	}
	o.place, o.close = p.to.Address, answerer.Close
	o.serve = func(ctx context.Context) error { answerer.TransmitAnswers(ctx); return nil }
	return o, nil
}

// answerer answers for the plan's units on a serial line.
func (p *outputPlan) answerer(units *modbus.Units, report func(serialbus.Event)) (*serialbus.Answerer, error) {
	mine := make([]byte, len(p.units))
	for i, u := range p.units {
		mine[i] = byte(u.unit)
	}
	return serialbus.NewAnswerer(withLineOf(p.to, p.table), mine, units.NewReader().Answer, report)
}

// publish shows each unit's registers, all of one instant.
func (o *registersOutput) publish(b *bank.Bank, _ []feed.SourceHealth) {
	for i := range o.plan.units {
		u := &o.plan.units[i]
		image, err := o.image(u, b)
		if err != nil {
			o.tellOnce(u.text+" layout", fmt.Sprintf("the registers of unit %d cannot be shown: %v", u.unit, err))
		}
		_ = o.units.Publish(byte(u.unit), image) // the unit is one that can be published
	}
}

// image is what a unit shows; nil if nothing is known of its pack, or if it
// cannot be shown.
func (o *registersOutput) image(u *shownUnit, b *bank.Bank) (*modbus.Image, error) {
	shown := u.of(b)
	if shown == nil {
		return nil, nil
	}
	registers, errs := o.layouts[byte(u.unit)].Write(&shown.Whole, shown.Packs)
	o.tell(u, errs)
	blocks := make([]modbus.Block, len(registers))
	for i, r := range registers {
		blocks[i] = modbus.Block(r)
	}
	return modbus.NewImage(o.identity(), blocks)
}

func (o *registersOutput) identity() modbus.Identity {
	return modbus.Identity{VendorName: "packlink", ProductCode: o.plan.table.Name, MajorMinorRevision: version}
}

// tell counts and logs, for each unit and value, that it does not fit its register any
// more, and that it does again; and once for each unit that packs have no registers.
func (o *registersOutput) tell(u *shownUnit, errs []error) {
	now, known := make(map[string]error), o.tooBig[byte(u.unit)]
	for _, err := range errs {
		var noRoom *decode.NoRoomError
		if errors.As(err, &noRoom) {
			now[noRoom.Field] = err
			continue
		}
		o.tellOnce(u.text+" room", fmt.Sprintf("%s: %v", u.text, err))
	}
	for field, err := range now {
		if known.change(field, true) {
			o.missed.Add(1)
			fmt.Fprintf(o.log, "%s: %s: %v; its register says \"not available\"\n", o.plan.to, u.text, err)
		}
	}
	for field := range known {
		if now[field] == nil && known.change(field, false) {
			fmt.Fprintf(o.log, "%s: %s: %s fits its register again\n", o.plan.to, u.text, field)
		}
	}
}

func (o *registersOutput) unfit() uint64 { return o.missed.Load() }

func (o *registersOutput) tellOnce(subject, text string) {
	if !o.told[subject] {
		o.told[subject] = true
		fmt.Fprintf(o.log, "%s: %s\n", o.plan.to, text)
	}
}

func (o *registersOutput) Close() error { return o.close() }

func (o *registersOutput) where() string {
	units := make([]string, len(o.plan.units))
	for i, u := range o.plan.units {
		units[i] = fmt.Sprintf("unit %d %s", u.unit, u.text)
	}
	does := ""
	if o.plan.transmit {
		does = "TRANSMITS answers, "
	}
	return fmt.Sprintf("%s %s  %s%s: %s", o.plan.to.Scheme, o.place, does, strings.Join(units, ", "), o.plan.table.Title)
}

func (o *registersOutput) run(ctx context.Context) error { return o.serve(ctx) }
