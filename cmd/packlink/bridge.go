package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"github.com/spf13/pflag"

	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/transport/feed"
)

var bridgeVerb = verb{
	name:    "bridge",
	args:    "[CONFIG.yaml]",
	summary: "reads packs and republishes them, until stopped",
	text: `
Reads packs from the sources of a configuration, adds them up to a bank, and
shows pack and bank on its outputs: JSON over HTTP, Modbus registers, JSON lines
on stdout, and CAN frames of a mapping on outputs that say transmit: true.
docs/bridge.md describes the configuration.

Without a configuration it runs the demonstration bank: two packs, simulated.
No hardware is needed, and nothing is transmitted on any bus.`,
	example: `  packlink bridge
  packlink bridge --http 127.0.0.1:8081 --modbus-tcp 127.0.0.1:1503
  packlink bridge garage.yaml
`,
	prepare: func(flags *pflag.FlagSet) func(context.Context, []string, *streams) error {
		var demo demoAddresses
		flags.StringVar(&demo.http, "http", "127.0.0.1:8080", "`address` of the demonstration's HTTP output")
		flags.StringVar(&demo.modbus, "modbus-tcp", "127.0.0.1:1502", "`address` of the demonstration's Modbus output")
		return func(ctx context.Context, args []string, s *streams) error {
			p, err := choosePlan(args, &demo, flags.Changed("http") || flags.Changed("modbus-tcp"))
			if err != nil {
				return err
			}
			return runBridge(ctx, p, s)
		}
	},
}

func choosePlan(args []string, demo *demoAddresses, addressed bool) (*plan, error) {
	switch {
	case len(args) > 1:
		return nil, usageError{fmt.Errorf("bridge: takes one configuration, and %d are given", len(args))}
	case len(args) == 1 && addressed:
		return nil, usageError{errors.New("bridge: --http and --modbus-tcp are for the demonstration; with a configuration, change the addresses there")}
	case len(args) == 1:
		return loadPlan(args[0])
	}
	return demo.plan()
}

// bridge runs a plan.
type bridge struct {
	plan    *plan
	sources []*source
	outputs []output
	wake    chan struct{}
}

// runBridge runs a plan until ctx ends or an output fails.
func runBridge(ctx context.Context, p *plan, s *streams) error {
	b := &bridge{plan: p, wake: make(chan struct{}, 1)}
	s = &streams{s.out, &together{to: s.log}}
	for i := range p.outputs {
		o, err := p.outputs[i].open(s)
		if err != nil {
			b.closeOutputs()
			return portHint(p, &p.outputs[i], err)
		}
		b.outputs = append(b.outputs, o)
	}
	for i := range p.sources {
		b.sources = append(b.sources, newSource(&p.sources[i], b.woken))
	}
	for _, o := range b.outputs {
		if web, is := o.(*httpOutput); is {
			web.WatchOutputs(b.outputHealth)
		}
	}
	announce(p, b.outputs, s.log)

	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var work sync.WaitGroup
	for i, o := range b.outputs {
		work.Go(func() {
			if err := o.run(ctx); err != nil && ctx.Err() == nil {
				cancel(fmt.Errorf("output %s: %w", p.outputs[i].to, err))
			}
		})
	}
	for _, source := range b.sources {
		work.Go(func() { source.run(ctx, s.log) })
	}
	work.Go(func() { b.publishing(ctx, s.log) })
	<-ctx.Done()
	work.Wait()
	if err := context.Cause(ctx); !errors.Is(err, context.Canceled) {
		return err
	}
	return nil
}

// counting is an output that counts what does not fit its fields.
type counting interface{ unfit() uint64 }

// outputHealth is how the outputs that write by a mapping are doing.
func (b *bridge) outputHealth() (all []feed.OutputHealth) {
	for i, o := range b.outputs {
		if c, is := o.(counting); is {
			all = append(all, feed.OutputHealth{Output: b.plan.outputs[i].to.String(), Unfit: c.unfit()})
		}
	}
	return all
}

// closeOutputs gives the ports back that were taken so far.
func (b *bridge) closeOutputs() {
	for _, o := range b.outputs {
		if c, is := o.(io.Closer); is {
			_ = c.Close() // nothing was sent yet
		}
	}
}

// together lets several goroutines write whole lines to one log.
type together struct {
	mu sync.Mutex
	to io.Writer
}

func (t *together) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.to.Write(p)
}

// woken asks for a new state to be published. It never waits.
func (b *bridge) woken() {
	select {
	case b.wake <- struct{}{}:
	default:
	}
}

// publishIdle is the most time between two states, so that silence shows.
const publishIdle = 250 * time.Millisecond

// publishing gives a new state to all outputs after each frame, and when none
// comes, until ctx ends.
func (b *bridge) publishing(ctx context.Context, log io.Writer) {
	out, looked, apart := lookout{log: log}, int64(0), gaps{}
	idle := time.NewTicker(publishIdle)
	defer idle.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-b.wake:
		case <-idle.C:
		}
		now := time.Now().UnixNano()
		whole, health := b.state(now)
		for _, o := range b.outputs {
			o.publish(whole, health)
		}
		if now-looked >= int64(publishIdle) {
			looked = now
			out.look(whole, b.sources, now)
		}
		apart.wait()
	}
}

// state is the bank at an instant, and how its sources are doing.
func (b *bridge) state(now int64) (*bank.Bank, []feed.SourceHealth) {
	var packs []pack.Status
	health := make([]feed.SourceHealth, len(b.sources))
	for i, s := range b.sources {
		packs, health[i] = s.statuses(packs, now)
	}
	return bank.Sum(b.plan.bank, b.plan.nominal, now, packs), health
}
