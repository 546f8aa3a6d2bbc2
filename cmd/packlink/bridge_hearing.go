package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"sync"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
	"packlink/transport/capture"
	"packlink/transport/feed"
)

// channelMark stands between a source's name and the number of a further channel.
const channelMark = " (channel "

// source follows one source of the bridge. Each interface of a recording is a
// bus of its own.
type source struct {
	plan     *sourcePlan
	wake     func() // called after each frame
	mu       sync.Mutex
	decoders []*decode.Decoder // by channel
	heard    int64             // time of the newest frame
	begun    int64             // time of the first frame
	frames   uint64            // or runs of bytes, that were heard
	told     bool              // that nothing is of the mapping
}

func newSource(p *sourcePlan, wake func()) *source { return &source{plan: p, wake: wake} }

// Waits between two tries of a source that failed.
const (
	firstRetry = time.Second
	lastRetry  = 30 * time.Second
)

// run plays the source's frames until it ends or ctx does. A source that fails
// is tried again, and takes nothing else down; what happens to it is logged
// once.
func (s *source) run(ctx context.Context, log io.Writer) {
	failed := ""
	for wait := firstRetry; ; wait = min(2*wait, lastRetry) {
		err := s.play(ctx, log)
		switch {
		case ctx.Err() != nil:
			return
		case err == nil:
			s.tellUnexplained(log, math.MaxInt64)
			fmt.Fprintf(log, "source %s: the recording has ended\n", s.plan.name)
			return
		case err.Error() != failed:
			failed = err.Error()
			fmt.Fprintf(log, "source %s is tried again: %v\n", s.plan.name, err)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
}

// play takes frames until the source ends, fails, or ctx does.
func (s *source) play(ctx context.Context, log io.Writer) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	r, err := s.plan.open(ctx, func(text string) { fmt.Fprintf(log, "source %s: %s\n", s.plan.name, text) })
	if err != nil {
		return err
	}
	defer r.Close()
	take := func(f *transport.Frame) error {
		s.take(f)
		s.wake()
		return nil
	}
	if s.plan.live {
		if err := receive(ctx, r, take); err != nil || ctx.Err() != nil {
			return err
		}
		return errors.New("the bus has ended")
	}
	in := patient{Receiver: r}
	err = capture.Play(ctx, &in, s.plan.speed, take)
	if in.damaged > 0 {
		fmt.Fprintf(log, "source %s: not readable and passed over: %d; the first: %v\n", s.plan.name, in.damaged, in.first)
	}
	return err
}

func (s *source) take(f *transport.Frame) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for len(s.decoders) <= f.Channel {
		name := s.plan.name
		if n := len(s.decoders); n > 0 {
			name = fmt.Sprintf("%s%s%d)", name, channelMark, n+1)
		}
		s.decoders = append(s.decoders, decode.NewDecoder(s.plan.table, name))
	}
	s.decoders[f.Channel].Decode(f)
	if f.Medium == transport.CAN || f.Direction != transport.Sent { // own questions are not heard
		if s.frames++; s.frames == 1 {
			s.begun = f.Time
		}
		s.heard = f.Time
	}
}

// statuses appends the status of each of the source's packs at an instant, and
// returns how the source is doing. A unit that is asked and was never heard is a
// pack too, of which nothing is known.
func (s *source) statuses(packs []pack.Status, now int64) ([]pack.Status, feed.SourceHealth) {
	s.mu.Lock()
	defer s.mu.Unlock()
	health := feed.SourceHealth{Source: s.plan.name, Heard: s.heard, Unexplained: s.frames > 0 && !s.understands()}
	heard, fresh, start := 0, 0, len(packs)
	for _, d := range s.decoders {
		for i := range d.Packs() {
			packs = append(packs, pack.Status{})
			heard++
			if d.Status(i, now, &packs[len(packs)-1]) {
				fresh++
			}
		}
	}
	for _, unit := range s.plan.units {
		if !s.hears(unit, packs[start:]) {
			heard++
			packs = append(packs, pack.Status{Now: now, Source: s.plan.name, Mapping: s.plan.table.Name, Address: unit, HasAddress: true})
		}
	}
	if s.plan.poll && heard == 0 { // frames without an address
		heard++
		packs = append(packs, pack.Status{Now: now, Source: s.plan.name, Mapping: s.plan.table.Name})
	}
	health.Fresh = heard > 0 && fresh == heard
	return packs, health
}

// understands tells whether anything that was heard is of the mapping.
func (s *source) understands() bool { return slices.ContainsFunc(s.decoders, understood) }

// hears tells whether a unit that is asked was heard. A unit of models can have
// several packs, whose addresses are others.
func (s *source) hears(unit uint32, packs []pack.Status) bool {
	if bus := s.plan.table.Bus.Registers; bus != nil && bus.ModelsAt >= 0 {
		return slices.ContainsFunc(s.decoders, func(d *decode.Decoder) bool { return d.Hears(byte(unit)) })
	}
	return slices.ContainsFunc(packs, func(p pack.Status) bool { return p.Address == unit })
}
