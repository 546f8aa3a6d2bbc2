package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"syscall"
	"time"

	"packlink/cmd/packlink/demo"
	"packlink/mapping/library"
	"packlink/transport"
	"packlink/transport/capture"
)

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
		bank: demo.Bank,
		sources: []sourcePlan{{
			name: "recording", table: heard, speed: 1,
			open: func() (transport.Receiver, error) { return newLoop(openDemo) },
		}},
		outputs: []outputPlan{
			{to: transport.Endpoint{Scheme: "http", Address: d.http}},
			{to: transport.Endpoint{Scheme: "modbus-tcp", Address: d.modbus}, table: layout},
			{to: transport.Endpoint{Scheme: "stdout"}, every: 5 * time.Second, style: "summary"},
		},
	}
	for i, flag := range []string{"--http", "--modbus-tcp"} {
		if _, err := p.outputs[i].to.ListenAddress(); err != nil {
			return nil, usageError{fmt.Errorf("bridge: %s: %w", flag, err)}
		}
	}
	return p, nil
}

func openDemo() (transport.Receiver, error) {
	return capture.NewReader(demo.Recording(), demo.Bank)
}

// isDemo tells whether the plan is the demonstration's.
func (p *plan) isDemo() bool { return p.bank == demo.Bank && p.sources[0].from.Scheme == "" }

// portHint adds to a port that is taken which flag changes it.
func portHint(p *plan, err error) error {
	if !errors.Is(err, syscall.EADDRINUSE) || !p.isDemo() {
		return err
	}
	flag, address := "--http", "127.0.0.1:8081"
	if strings.Contains(err.Error(), "for modbus-tcp") {
		flag, address = "--modbus-tcp", "127.0.0.1:1503"
	}
	return &hinted{err, "packlink bridge " + flag + " " + address}
}

// announce says what the bridge shows where.
func announce(p *plan, outputs []output, log io.Writer) {
	if p.isDemo() {
		fmt.Fprintf(log, "demonstration bank %s: two packs of 16 cells and 100 Ah, played from a recording\n", p.bank)
	}
	for _, o := range outputs {
		if where := o.where(); where != "" {
			fmt.Fprintf(log, "  %s\n", where)
		}
	}
	fmt.Fprintln(log, "a monitoring aid, not a protection device; stop with ctrl-c")
}
