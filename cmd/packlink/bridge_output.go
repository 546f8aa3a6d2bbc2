package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"syscall"
	"time"

	"packlink/decode"
	"packlink/decode/bank"
	"packlink/transport/feed"
	"packlink/transport/modbus"
)

// bankUnit is the Modbus unit that shows the bank.
const bankUnit = 1

// output shows the bank to somebody.
type output interface {
	// publish shows a new state. It must not block.
	publish(b *bank.Bank, sources []feed.SourceHealth)
	// run serves until ctx ends.
	run(ctx context.Context) error
	// where says what is shown where, "" if there is nothing to say.
	where() string
}

// check finds out whether an output can be made.
func (p *outputPlan) check() error {
	needsLayout := false
	switch p.to.Scheme {
	case "http":
		if err := p.to.Allow(); err != nil {
			return err
		}
	case "modbus-tcp":
		needsLayout = true
		if err := p.to.Allow(); err != nil {
			return err
		}
	case "stdout":
		return p.checkLines()
	default:
		return fmt.Errorf("%s: an output begins with http:, modbus-tcp: or stdout: instead", p.to)
	}
	if needsLayout && (p.table == nil || p.table.Bus.Registers == nil) {
		return fmt.Errorf("%s needs a mapping that describes registers, such as sunspec-battery", p.to)
	}
	if !needsLayout && p.table != nil {
		return fmt.Errorf("%s takes no mapping", p.to)
	}
	_, err := p.to.ListenAddress()
	return err
}

func (p *outputPlan) checkLines() error {
	if err := p.to.Allow("every", "style"); err != nil {
		return err
	}
	p.every, p.style = time.Second, "json"
	if text, given := p.to.Options["every"]; given {
		every, err := time.ParseDuration(text)
		if err != nil || every <= 0 {
			return fmt.Errorf("%s: every must be a time with its unit, such as 1s", p.to)
		}
		p.every = every
	}
	switch style := p.to.Options["style"]; style {
	case "":
	case "json", "summary":
		p.style = style
	default:
		return fmt.Errorf("%s: style must be json or summary", p.to)
	}
	return nil
}

// open makes the output and takes its port.
func (p *outputPlan) open(s *streams) (output, error) {
	switch {
	case p.to.Scheme == "stdout" && p.style == "summary":
		return newTextOutput(feed.NewSummary(s.out, 0).Bank, p.every), nil
	case p.to.Scheme == "stdout":
		return newTextOutput(recordLines{feed.NewLines(s.out)}.bank, p.every), nil
	}
	listener, err := p.listen()
	if err != nil {
		return nil, err
	}
	if p.to.Scheme == "http" {
		return &httpOutput{feed.NewHTTP(), listener}, nil
	}
	units := new(modbus.Units)
	server, err := modbus.NewServer(units, bankUnit, nil)
	if err != nil {
		return nil, err
	}
	return &registersOutput{plan: p, units: units, server: server, listener: listener, log: s.log, told: make(map[string]bool)}, nil
}

// listen takes the output's port. A port that is taken is the user's most
// likely trouble, and gets a way out.
func (p *outputPlan) listen() (net.Listener, error) {
	address, err := p.to.ListenAddress()
	if err != nil {
		return nil, err
	}
	listener, err := net.Listen("tcp", address)
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		return nil, fmt.Errorf("cannot listen on %s for %s: another program has this port: %w", address, p.to.Scheme, err)
	case errors.Is(err, syscall.EACCES):
		return nil, fmt.Errorf("cannot listen on %s for %s: ports below 1024 need privileges: %w", address, p.to.Scheme, err)
	case err != nil:
		return nil, fmt.Errorf("cannot listen on %s for %s: %w", address, p.to.Scheme, err)
	}
	return listener, nil
}

type httpOutput struct {
	*feed.HTTP
	listener net.Listener
}

func (o *httpOutput) publish(b *bank.Bank, sources []feed.SourceHealth) { o.Publish(b, sources) }

func (o *httpOutput) run(ctx context.Context) error { return o.Serve(ctx, o.listener) }

func (o *httpOutput) Close() error { return o.listener.Close() }

func (o *httpOutput) where() string {
	return fmt.Sprintf("http://%s/  live page; /v1/bank, /v1/packs, /v1/stream, /metrics, /healthz", o.listener.Addr())
}

// registersOutput answers Modbus reads of a layout.
type registersOutput struct {
	plan     *outputPlan
	units    *modbus.Units
	server   *modbus.Server
	listener net.Listener
	log      io.Writer
	told     map[string]bool // values that did not fit, and were told of
}

func (o *registersOutput) publish(b *bank.Bank, _ []feed.SourceHealth) {
	registers, errs := decode.Layout(o.plan.table, &b.Whole, b.Packs)
	for _, err := range errs {
		o.tell(err)
	}
	blocks := make([]modbus.Block, len(registers))
	for i, r := range registers {
		blocks[i] = modbus.Block(r)
	}
	image, err := modbus.NewImage(o.identity(), blocks)
	if err == nil {
		err = o.units.Publish(bankUnit, image)
	}
	if err != nil {
		_ = o.units.Publish(bankUnit, nil) // the unit is one that can be published
		o.tellOnce("layout", fmt.Sprintf("the registers cannot be shown: %v", err))
	}
}

func (o *registersOutput) identity() modbus.Identity {
	return modbus.Identity{VendorName: "packlink", ProductCode: o.plan.table.Name, MajorMinorRevision: version}
}

// tell logs once, for each value, that it does not fit its register.
func (o *registersOutput) tell(err error) {
	var noRoom *decode.NoRoomError
	if errors.As(err, &noRoom) {
		o.tellOnce(noRoom.Field, fmt.Sprintf("%v; its register says \"not available\"", err))
	}
}

func (o *registersOutput) tellOnce(subject, text string) {
	if !o.told[subject] {
		o.told[subject] = true
		fmt.Fprintf(o.log, "%s: %s\n", o.plan.to, text)
	}
}

func (o *registersOutput) Close() error { return o.listener.Close() }

func (o *registersOutput) where() string {
	return fmt.Sprintf("modbus-tcp %s  unit %d, %s", o.listener.Addr(), bankUnit, o.plan.table.Title)
}

func (o *registersOutput) run(ctx context.Context) error { return o.server.Serve(ctx, o.listener) }
