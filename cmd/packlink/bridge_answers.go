package main

import (
	"context"
	"fmt"
	"io"

	"packlink/mapping"
	"packlink/transport"
	"packlink/transport/serialbus"
)

// answersOutput answers the questions of a mapping on a serial line.
type answersOutput struct {
	*framesOutput
	replier *serialbus.Replier
	running context.Context // of run
	asked   question        // that answer is for
	reply   []byte
}

// question is what was asked, and at which address.
type question struct {
	address uint32
	asked   int // index of the first message that the question is for
	newest  int // index of the message that was answered last
}

func newAnswersOutput(p *outputPlan, log io.Writer) (*answersOutput, error) {
	frames, err := newFramesOutput(p, log)
	if err != nil {
		return nil, err
	}
	o := &answersOutput{framesOutput: frames}
	o.replier, err = serialbus.NewReplier(withLineOf(p.to, p.table), o.hear, func(e serialbus.Event) { fmt.Fprintf(log, "output %s\n", e) })
	if err == nil {
		err = o.replier.Open()
	}
	if err != nil {
		return nil, withHint(err)
	}
	return o, nil
}

// hear is the answer to the newest question that ends in what was heard.
func (o *answersOutput) hear(heard []byte) []byte {
	if heard == nil {
		o.asks.Lost()
		return nil
	}
	o.reply = o.reply[:0]
	o.asks.Hear(&transport.Frame{Medium: transport.Serial, Data: heard}, func(address uint32, p *mapping.Program) {
		if q := &o.asked; q.address != address || q.asked != p.Asked || q.newest >= p.Index {
			o.reply = o.reply[:0]
		}
		o.asked = question{address, p.Asked, p.Index}
		o.shownAt(address, func(i int) {
			o.send(i, p, func(f *transport.Frame) error {
				o.reply = append(o.reply, f.Data...)
				return nil
			})
		})
	})
	if len(o.reply) == 0 || !pause(o.running, o.delay) {
		return nil
	}
	return o.reply
}

// run answers until ctx ends.
func (o *answersOutput) run(ctx context.Context) error {
	o.running = ctx
	o.replier.TransmitReplies(ctx)
	return nil
}

func (o *answersOutput) Close() error { return o.replier.Close() }
