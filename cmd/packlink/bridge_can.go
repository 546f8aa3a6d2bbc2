package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"packlink/decode"
	"packlink/mapping"
	"packlink/transport"
	"packlink/transport/canbus"
)

// canOutput is a framesOutput on a CAN bus.
type canOutput struct {
	*framesOutput
	bus       canbus.Bus
	table     *decode.Timetable
	transfers *transfers
	failing   atomic.Bool // the bus does not take what is sent
}

func newCANOutput(p *outputPlan, log io.Writer) (*canOutput, error) {
	bus, err := canbus.Open(withLineOf(p.to, p.table), func(event canbus.Event) { fmt.Fprintf(log, "output %s\n", event) })
	if err != nil {
		return nil, withHint(err)
	}
	return newCANOutputOn(bus, p, log)
}

func newCANOutputOn(bus canbus.Bus, p *outputPlan, log io.Writer) (*canOutput, error) {
	o, err := newFramesOutput(p, log)
	if err != nil {
		return nil, err
	}
	return &canOutput{
		framesOutput: o, bus: bus, table: decode.NewTimetable(p.table, len(p.units)), transfers: newTransfers(p),
	}, nil
}

// run transmits until ctx ends, or until the bus cannot be heard any more. It hears the
// bus for questions, and because an interface that was away is opened again by hearing it.
func (o *canOutput) run(ctx context.Context) error {
	open, end := context.WithCancel(ctx)
	context.AfterFunc(open, func() { _ = o.bus.Close() })
	heard := make(chan error, 1)
	go func() {
		defer end()
		heard <- o.hearing(open)
	}()
	var sending sync.WaitGroup
	sending.Go(func() { o.transferring(open) })
	o.transmitting(open)
	sending.Wait()
	err := <-heard
	if err == nil && ctx.Err() == nil {
		err = errors.New("the bus has ended")
	}
	return err
}

// hearing answers what is asked for on the bus.
func (o *canOutput) hearing(ctx context.Context) error {
	return receive(ctx, o.bus, func(f *transport.Frame) error {
		o.asks.Hear(f, func(address uint32, p *mapping.Program) {
			if pause(ctx, o.delay) {
				o.shownAt(address, func(i int) { o.transmit(i, p) })
			}
		})
		return nil
	})
}

// transmit sends a message of one of the things that are shown, or lets it take its turn
// among the transfers.
func (o *canOutput) transmit(i int, p *mapping.Program) {
	if p.Transfer == mapping.J1939Protocol {
		o.transfers.add(transfer{i, p})
		return
	}
	o.send(i, p, o.put)
}

func (o *canOutput) transmitting(ctx context.Context) {
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
			o.transmit(i, p)
		}
	}
}

// put puts a frame on the bus, and tells whether the bus takes what is sent.
func (o *canOutput) put(f *transport.Frame) error {
	err := o.bus.Send(f)
	if fails := err != nil; !errors.Is(err, os.ErrClosed) && o.failing.Swap(fails) != fails {
		o.tell(fails, fmt.Sprintf("cannot send: %v", err), "sends again")
	}
	return nil
}

func (o *canOutput) Close() error { return o.bus.Close() }
