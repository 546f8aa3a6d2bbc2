package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/decode/physics/scenario"
	"packlink/decode/simulate"
	"packlink/mapping"
	"packlink/transport"
	"packlink/transport/capture"
	"packlink/transport/feed"
)

// busOf are the endpoints that a mapping's bus can be heard on.
func busOf(table *mapping.Compiled) []string {
	switch {
	case table.Bus.CAN != nil:
		return []string{"can", "slcan", "capture", "simulate"}
	case table.Bus.Serial != nil:
		return []string{"serial", "tcp", "capture", "simulate"}
	}
	return []string{"serial", "tcp", "modbus-tcp", "modbus-tls", "capture", "simulate"}
}

// connect finds out how a source's frames are received.
func (s *sourcePlan) connect() error {
	if !slices.Contains(busOf(s.table), s.from.Scheme) {
		return fmt.Errorf("%s: a source of mapping %s begins with %s", s.from, s.table.Name, strings.Join(busOf(s.table), ":, ")+":")
	}
	if s.poll {
		return s.connectPoll()
	}
	if isLive(s.from) {
		s.live = true
		from := withLineOf(s.from, s.table)
		s.open = func(ctx context.Context, tell func(string)) (transport.Receiver, error) {
			return listenTo(ctx, from, tell)
		}
		if strings.HasPrefix(s.from.Scheme, "modbus-") {
			_, err := listenTo(context.Background(), s.from, nil)
			return err
		}
		return nil
	}
	if s.from.Scheme == "simulate" {
		return s.connectSimulation()
	}
	return s.connectCapture()
}

// connectSimulation finds out what a simulated bank says: simulate:two-packs?seed=7.
func (s *sourcePlan) connectSimulation() error {
	if err := s.from.Allow("speed", "seed"); err != nil {
		return err
	}
	plan, err := scenario.Load(s.from.Address)
	if err != nil {
		return fmt.Errorf("%s: %w", s.from, err)
	}
	if text, given := s.from.Options["seed"]; given {
		if plan.Seed, err = strconv.ParseUint(text, 10, 64); err != nil {
			return fmt.Errorf("%s: seed must be a whole number", s.from)
		}
	}
	if s.speed, err = speedOf(s.from); err != nil {
		return err
	}
	if _, err := simulate.New(s.table, plan, 0, simulate.Wire{}); err != nil {
		return fmt.Errorf("%s: %w", s.from, err)
	}
	s.open = recorded(func() (transport.Receiver, error) {
		return simulate.New(s.table, plan, time.Now().UnixNano(), simulate.Wire{})
	})
	return nil
}

// speedOf is the speed that an endpoint is played with, 1 if it says none.
func speedOf(e transport.Endpoint) (float64, error) {
	text, given := e.Options["speed"]
	if !given {
		return 1, nil
	}
	speed, err := strconv.ParseFloat(text, 64)
	if err != nil || !(speed > 0) {
		return 0, fmt.Errorf("%s: speed must be a number above 0, such as 10", e)
	}
	return speed, nil
}

func (s *sourcePlan) connectPoll() error {
	registers := s.table.Bus.Registers
	switch {
	case !isLive(s.from):
		return fmt.Errorf("%s: a recording cannot be polled", s.from)
	case registers == nil && !s.table.HasQuestions():
		return fmt.Errorf("%s: mapping %s has no questions: its packs speak unasked; leave poll out", s.from, s.table.Name)
	}
	s.live = true
	from := withLineOf(s.from, s.table)
	s.open = func(ctx context.Context, tell func(string)) (transport.Receiver, error) {
		return ask(ctx, from, s.table, s.units, tell)
	}
	return nil
}

func (s *sourcePlan) connectCapture() error {
	if err := s.from.Allow("speed", "loop"); err != nil {
		return err
	}
	var err error
	if s.speed, err = speedOf(s.from); err != nil {
		return err
	}
	path := s.from.Address
	once := func() (transport.Receiver, error) { return openCapture(path) }
	r, err := once()
	if err != nil {
		return err
	}
	err = s.checkMedium(r)
	if closed := r.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return err
	}
	switch s.from.Options["loop"] {
	case "", "false":
		s.open = recorded(once)
	case "true":
		s.open = recorded(func() (transport.Receiver, error) { return newLoop(once) })
	default:
		return fmt.Errorf("%s: loop must be true or false", s.from)
	}
	return nil
}

// framesOfMedium is how far a recording is looked into for a frame of the right bus.
const framesOfMedium = 5000

// checkMedium refuses a recording of another kind of bus than the mapping's.
func (s *sourcePlan) checkMedium(r transport.Receiver) error {
	want := mediumOf(s.table)
	in, f, other := patient{Receiver: r}, transport.Frame{}, false
	for range framesOfMedium {
		if err := in.Receive(&f); err != nil {
			break // the end, or what the playing will say
		}
		if f.Medium == want {
			return nil
		}
		other = true
	}
	if !other {
		return nil
	}
	return fmt.Errorf("%s is a recording of a %s bus, and mapping %s is of a %s bus; packlink identify says which mapping explains it",
		s.from, f.Medium, s.table.Name, want)
}

// recorded opens a recording, which has no transitions to tell of.
func recorded(open func() (transport.Receiver, error)) func(context.Context, func(string)) (transport.Receiver, error) {
	return func(context.Context, func(string)) (transport.Receiver, error) { return open() }
}

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

// loop plays a recording again and again: each round's frames follow the last
// one's in time.
type loop struct {
	open   func() (transport.Receiver, error)
	round  transport.Receiver
	first  int64 // time of the recording's first frame
	newest int64 // time of the newest frame, as recorded
	offset int64 // what this round's times are moved by
	frames int   // of this round
}

// roundGap is the pause, in nanoseconds, between two rounds.
const roundGap = 500_000_000

func newLoop(open func() (transport.Receiver, error)) (*loop, error) {
	r, err := open()
	if err != nil {
		return nil, err
	}
	return &loop{open: open, round: r}, nil
}

// Receive fills f with the next frame. A recording without frames ends.
func (l *loop) Receive(f *transport.Frame) error {
	err := l.round.Receive(f)
	if err == io.EOF && l.frames > 0 {
		if err := l.again(); err != nil {
			return err
		}
		err = l.round.Receive(f)
	}
	if err != nil {
		return err
	}
	if l.frames == 0 && l.offset == 0 {
		l.first = f.Time
	}
	l.frames++
	l.newest = max(l.newest, f.Time)
	f.Time += l.offset
	return nil
}

func (l *loop) again() error {
	if err := l.round.Close(); err != nil {
		return err
	}
	r, err := l.open()
	if err != nil {
		return err
	}
	l.round, l.frames = r, 0
	l.offset += l.newest - l.first + roundGap
	return nil
}

// Close closes the recording.
func (l *loop) Close() error { return l.round.Close() }
