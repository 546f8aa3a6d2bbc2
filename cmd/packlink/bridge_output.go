package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"syscall"
	"time"

	"packlink/decode/bank"
	"packlink/transport/feed"
	"packlink/transport/modbus"
)

// output shows the bank to somebody.
type output interface {
	// publish shows a new state. It must not block.
	publish(b *bank.Bank, sources []feed.SourceHealth)
	// run serves until ctx ends.
	run(ctx context.Context) error
	// where says what is shown where, "" if there is nothing to say.
	where() string
}

// outputKind is what all outputs of a scheme have in common.
type outputKind struct {
	options   []string
	registers bool // it shows the registers of a mapping
	frames    bool // it shows the frames of a mapping
	listens   bool // its address is one to listen on
	transmits bool // it sends on a bus, and so only if it is told to
}

var outputKinds = map[string]outputKind{
	"http":       {listens: true},
	"modbus-tcp": {registers: true, listens: true},
	"modbus-tls": {registers: true, listens: true, options: []string{"cert", "key", "ca", "roles"}},
	"modbus-rtu": {registers: true, transmits: true, options: []string{"baud", "frame", "unit"}},
	"can":        {frames: true, transmits: true},
	"slcan":      {frames: true, transmits: true, options: []string{"bitrate", "baud", "flags"}},
	"serial":     {frames: true, transmits: true, options: []string{"baud", "frame"}},
	"stdout":     {options: []string{"every", "style"}},
}

// check finds out whether an output can be made.
func (p *outputPlan) check() error {
	kind, known := outputKinds[p.to.Scheme]
	if !known {
		return fmt.Errorf("%s: an output begins with http:, modbus-tcp:, modbus-tls:, modbus-rtu:, can:, slcan:, serial: or stdout: instead", p.to)
	}
	if err := p.to.Allow(kind.options...); err != nil {
		return err
	}
	switch {
	case kind.registers && (p.table == nil || p.table.Bus.Registers == nil):
		return fmt.Errorf("%s needs a mapping that describes registers, such as sunspec-battery", p.to)
	case !kind.registers && !kind.frames && p.table != nil:
		return fmt.Errorf("%s takes no mapping", p.to)
	case !kind.registers && !kind.frames && p.units != nil:
		return fmt.Errorf("%s has no units", p.to)
	case !kind.frames && p.shows != nil:
		return fmt.Errorf("%s is no bus with frames, so shows means nothing there", p.to)
	case kind.transmits && !p.transmit:
		return fmt.Errorf("%s: this is a bus, and an output transmits there: say transmit: true", p.to)
	case !kind.transmits && p.transmit:
		return fmt.Errorf("%s: this is no bus, so there is nothing to transmit on", p.to)
	case kind.listens:
		if _, err := p.to.ListenAddress(); err != nil {
			return err
		}
	}
	return p.checkOptions()
}

// checkOptions reads what only one kind of output has.
func (p *outputPlan) checkOptions() (err error) {
	switch p.to.Scheme {
	case "stdout":
		return p.checkLines()
	case "modbus-tls":
		p.security, err = modbus.ReadSecurity(p.to)
	case "modbus-rtu":
		if err = p.unitOption(); err == nil {
			_, err = p.answerer(new(modbus.Units), nil)
		}
	case "can", "slcan", "serial":
		return p.checkFrames()
	}
	return err
}

func (p *outputPlan) checkLines() error {
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
	case p.to.Scheme == "modbus-rtu":
		return p.openLine(s.log)
	case p.to.Scheme == "serial":
		return newAnswersOutput(p, s.log)
	case p.frames():
		return newCANOutput(p, s.log)
	}
	listener, err := p.listen()
	if err != nil {
		return nil, err
	}
	if p.to.Scheme == "http" {
		return &httpOutput{feed.NewHTTP(), listener}, nil
	}
	return p.openServer(listener, s.log)
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
