package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"syscall"
	"time"

	"packlink/cmd/packlink/demo"
	"packlink/mapping/library"
	"packlink/transport"
)

// demoSource is the source of the demonstration bank, which is simulated and heard
// like any other bus.
const demoSource = "boats"

// demoAddresses are where the demonstration bank is shown.
type demoAddresses struct{ http, modbus string }

// plan is the demonstration bank's plan.
func (d *demoAddresses) plan() (*plan, error) {
	heard, err := library.Compile(demo.Mapping)
	if err != nil {
		return nil, err
	}
	layout, err := library.Compile("sunspec-battery")
	if err != nil {
		return nil, err
	}
	p := &plan{
		demo: true,
		bank: demo.Bank,
		sources: []sourcePlan{{
			name: demoSource, from: transport.Endpoint{Scheme: "simulate", Address: demo.Scenario}, table: heard,
		}},
		outputs: []outputPlan{
			{to: transport.Endpoint{Scheme: "http", Address: d.http}},
			{to: transport.Endpoint{Scheme: "modbus-tcp", Address: d.modbus}, table: layout},
			{to: transport.Endpoint{Scheme: "stdout"}, every: 5 * time.Second, style: "summary"},
		},
	}
	if err := p.sources[0].connect(); err != nil {
		return nil, err
	}
	for i, flag := range []string{"--http", "--modbus-tcp"} {
		if _, err := p.outputs[i].to.ListenAddress(); err != nil {
			return nil, usageError{fmt.Errorf("bridge: %s: %w", flag, err)}
		}
	}
	return p, nil
}

// portHint adds to a port that is taken which flag changes it.
func portHint(p *plan, o *outputPlan, err error) error {
	if !errors.Is(err, syscall.EADDRINUSE) || !p.demo {
		return err
	}
	if o.to.Scheme == "http" {
		return &hinted{err, "packlink bridge --http 127.0.0.1:8081"}
	}
	return &hinted{err, "packlink bridge --modbus-tcp 127.0.0.1:1503"}
}

// announce says what the bridge shows where.
func announce(p *plan, outputs []output, log io.Writer) {
	if p.demo {
		fmt.Fprintf(log, "demonstration bank %s: two packs of 16 cells and 100 Ah, simulated\n", p.bank)
	}
	for i, o := range outputs {
		if where := o.where(); where != "" {
			fmt.Fprintf(log, "  %s\n", where)
			tellCoverage(p, &p.outputs[i], log)
		}
	}
	for i := range p.sources {
		announceSource(&p.sources[i], p, log)
	}
	fmt.Fprintln(log, "a monitoring aid, not a protection device; stop with ctrl-c")
}

// announceSource says of a source what a reader of the bank could not know.
func announceSource(s *sourcePlan, p *plan, log io.Writer) {
	switch {
	case s.poll:
		fmt.Fprintf(log, "  source %s  TRANSMITS questions on %s\n", s.name, s.from)
		return
	case s.from.Scheme == "capture":
		fmt.Fprintf(log, "  source %s is a recording, played now: its records have the present time\n", s.name)
	case s.from.Scheme == "simulate":
		fmt.Fprintf(log, "  source %s is simulated: every value is invented\n", s.name)
	default:
		return
	}
	if slices.ContainsFunc(p.outputs, func(o outputPlan) bool { return o.transmit }) {
		fmt.Fprintf(log, "  CAUTION: values of source %s, which are not of a pack at hand, are TRANSMITTED: never where something acts on them\n", s.name)
	}
}
