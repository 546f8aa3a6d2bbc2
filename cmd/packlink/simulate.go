package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/pflag"

	"packlink/decode/physics"
	"packlink/decode/physics/scenario"
	"packlink/decode/simulate"
	"packlink/mapping"
	"packlink/transport"
	"packlink/transport/capture"
)

var simulateVerb = verb{
	name:    "simulate",
	args:    "--mapping NAME --to ENDPOINT [flags]",
	summary: "lets a model of a battery bank speak a mapping; TRANSMITS invented values",
	text: `
Lets the packs of a scenario speak a protocol: CAN frames on can: and slcan:, answers
on serial: and modbus-rtu:, registers on modbus-tcp: and modbus-tls:, or a capture of
it all.

On a bus this TRANSMITS VALUES THAT ARE INVENTED. Never do it where an inverter, a
charger or anything else that acts on them is connected.

A capture is made as fast as possible and is not written over; --for is how much
simulated time it covers. Elsewhere --speed lets the model's time run faster, while
each message keeps its period. docs/simulate.md tells more.`,
	example: `  packlink simulate --mapping homebrew-can --to can:vcan0
  packlink simulate --mapping uart-dd77 --to serial:/dev/ttyUSB1 --scenario cold-morning
  packlink simulate --mapping homebrew-can --to capture:day.pcapng --scenario house-day --for 24h
  packlink simulate --mapping telecom-ascii-hex --to serial:/dev/ttyUSB1 --misbehave lose=5%,spoil=1%,delay=300ms
`,
	prepare: func(flags *pflag.FlagSet) func(context.Context, []string, *streams) error {
		j := simulateJob{}
		flags.StringVar(&j.mapping, "mapping", "", "built-in `name` or file of the mapping to speak")
		flags.StringVar(&j.to, "to", "", "`endpoint` to speak to")
		flags.StringVar(&j.scenario, "scenario", "two-packs", "built-in `name` or file of the scenario")
		flags.Uint64Var(&j.seed, "seed", 0, "another `number` lets cells differ in another way; 0 is the scenario's own")
		flags.StringVar(&j.speed, "speed", "", "how fast the model's time runs: 1, 10 ...; max is for captures")
		flags.DurationVar(&j.long, "for", 0, "simulated `time` to speak for; without it until stopped, and an hour into a capture")
		flags.StringVar(&j.misbehave, "misbehave", "", "what goes wrong on the wire: lose=5%, spoil=1%, freeze, delay=300ms, with commas between")
		return j.run
	},
}

// simulateJob is one run of the simulate verb.
type simulateJob struct {
	mapping, to, scenario, speed, misbehave string
	seed                                    uint64
	long                                    time.Duration

	table *mapping.Compiled
	plan  *physics.Scenario
	wire  simulate.Wire
	pace  float64 // simulated seconds in a second
}

func (j *simulateJob) run(ctx context.Context, args []string, s *streams) error {
	switch {
	case len(args) > 0:
		return usageError{fmt.Errorf("simulate: takes no arguments, and %q is given", args[0])}
	case j.mapping == "" || j.to == "":
		return &hinted{usageError{errors.New("simulate: --mapping and --to must be given")}, "packlink help simulate"}
	case j.long < 0:
		return usageError{fmt.Errorf("simulate: --for %v is negative", j.long)}
	}
	to, err := transport.ParseEndpoint(j.to)
	if err != nil {
		return usageError{err}
	}
	if bus := meant(to.Address); to.Scheme == "capture" && bus != "" {
		return &hinted{usageError{fmt.Errorf("simulate: --to %s: a bus is written with its kind: %s", to, bus)}, "packlink simulate --mapping " + j.mapping + " --to " + bus}
	}
	if to.Scheme == "http" || to.Scheme == "stdout" {
		return usageError{fmt.Errorf("simulate: --to %s: packs speak on can:, slcan:, serial:, modbus-tcp:, modbus-tls: or modbus-rtu:, or into a capture", to)}
	}
	if err := j.read(to); err != nil {
		return err
	}
	if to.Scheme == "capture" {
		return j.capture(ctx, to, s)
	}
	return j.speak(ctx, to, s)
}

// read reads what the flags name.
func (j *simulateJob) read(to transport.Endpoint) (err error) {
	if j.table, err = soundMapping(j.mapping); err != nil {
		return err
	}
	if j.plan, err = scenario.Load(j.scenario); err != nil {
		return unreadable(err, "scenario", "")
	}
	if j.seed != 0 {
		j.plan.Seed = j.seed
	}
	if j.wire, err = simulate.ParseWire(j.misbehave); err == nil {
		err = j.wire.Check(j.table)
	}
	if err != nil {
		return usageError{fmt.Errorf("simulate: --misbehave: %w", err)}
	}
	if j.pace, err = readPace(j.speed, to.Scheme == "capture"); err != nil {
		return usageError{fmt.Errorf("simulate: --speed %q: %w", j.speed, err)}
	}
	return nil
}

// readPace reads how fast simulated time runs: flat out into a capture unless
// something else is said, and with the clock elsewhere.
func readPace(text string, recorded bool) (float64, error) {
	switch {
	case recorded && (text == "" || text == "max"):
		return capture.FlatOut, nil
	case text == "":
		return 1, nil
	case text == "max":
		return 0, errors.New("a bus has its own pace; max is for captures")
	}
	pace, ok := parseSpeed(text)
	if !ok {
		return 0, fmt.Errorf("must be a number above 0, or max; at most %d", fastest)
	}
	return pace, nil
}

// simulated is the name of the simulated packs' source.
const simulated = "simulated"

// speak shows the model's packs at an endpoint until ctx ends.
func (j *simulateJob) speak(ctx context.Context, to transport.Endpoint, s *streams) error {
	start := time.Now()
	model, err := physics.NewBank(j.plan, start.UnixNano())
	if err != nil {
		return err
	}
	o := &outputPlan{to: to, table: j.table, transmit: outputKinds[to.Scheme].transmits, units: j.units(model)}
	if err := o.check(); err != nil {
		return usageError{fmt.Errorf("simulate: %w", err)}
	}
	out, err := o.open(&streams{s.out, &together{to: s.log}})
	if err != nil {
		return err
	}
	if err := misbehave(out, j.wire, j.plan.Seed); err != nil {
		return usageError{fmt.Errorf("simulate: --misbehave: %w", err)}
	}
	fmt.Fprintf(s.log, "TRANSMITS INVENTED VALUES of scenario %s: never where something acts on them\n  %s\n%sstop with ctrl-c\n", j.plan.Name, out.where(), j.notShown(model))
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	ended := make(chan error, 1)
	go func() { ended <- out.run(ctx) }()
	tick := time.NewTicker(publishIdle / 2)
	defer tick.Stop()
	for {
		passed := time.Duration(float64(time.Since(start)) * j.pace)
		if j.long > 0 && passed >= j.long {
			cancel()
			return <-ended
		}
		model.Step(time.Duration(start.UnixNano() + int64(passed) - model.Now()))
		out.publish(simulate.Sum(model, simulated), nil)
		select {
		case err := <-ended:
			return err
		case <-tick.C:
		}
	}
}

// misbehave lets an output's wire have faults.
func misbehave(out output, wire simulate.Wire, seed uint64) error {
	var frames *framesOutput
	switch o := out.(type) {
	case *canOutput:
		frames = o.framesOutput
	case *answersOutput:
		frames = o.framesOutput
	default:
		if wire != (simulate.Wire{}) {
			return errors.New("registers are served as they are; faults are for can:, slcan:, serial: and captures")
		}
		return nil
	}
	frames.faults, frames.delay = simulate.NewFaults(wire, seed), wire.Delay
	for _, w := range frames.writers {
		w.Frozen = wire.Freeze
	}
	return nil
}
