package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"sync"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
	"packlink/transport/capture"
	"packlink/transport/feed"
)

// connect finds out how a source's frames are received.
func (s *sourcePlan) connect() error {
	if s.from.Scheme != "capture" {
		return fmt.Errorf("%s: a source can be a capture, as in capture:bench.pcapng", s.from)
	}
	if err := s.from.Allow("speed", "loop"); err != nil {
		return err
	}
	s.speed = 1
	if text, given := s.from.Options["speed"]; given {
		speed, err := strconv.ParseFloat(text, 64)
		if err != nil || !(speed > 0) {
			return fmt.Errorf("%s: speed must be a number above 0, such as 10", s.from)
		}
		s.speed = speed
	}
	path := s.from.Address
	r, err := capture.Open(path)
	if err != nil {
		return fmt.Errorf("%s: %w", s.from, err)
	}
	if err := r.Close(); err != nil {
		return err
	}
	s.open = func() (transport.Receiver, error) { return capture.Open(path) }
	switch s.from.Options["loop"] {
	case "", "false":
	case "true":
		s.open = func() (transport.Receiver, error) {
			return newLoop(func() (transport.Receiver, error) { return capture.Open(path) })
		}
	default:
		return fmt.Errorf("%s: loop must be true or false", s.from)
	}
	return nil
}

// source follows one source of the bridge. Each interface of a recording is a
// bus of its own.
type source struct {
	plan     *sourcePlan
	wake     func() // called after each frame
	mu       sync.Mutex
	decoders []*decode.Decoder // by channel
	heard    int64             // time of the newest frame
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
			fmt.Fprintf(log, "source %s: the recording has ended\n", s.plan.name)
			return
		case err.Error() != failed:
			failed = err.Error()
			fmt.Fprintf(log, "source %s: %v; trying again\n", s.plan.name, err)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(wait):
		}
	}
}

func (s *source) play(ctx context.Context, log io.Writer) error {
	r, err := s.plan.open()
	if err != nil {
		return err
	}
	defer r.Close()
	in := patient{Receiver: r}
	err = capture.Play(ctx, &in, s.plan.speed, func(f *transport.Frame) error {
		s.take(f)
		s.wake()
		return nil
	})
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
			name = fmt.Sprintf("%s (channel %d)", name, n+1)
		}
		s.decoders = append(s.decoders, decode.NewDecoder(s.plan.table, name))
	}
	s.decoders[f.Channel].Decode(f)
	s.heard = f.Time
}

// statuses appends the status of each of the source's packs at an instant, and
// returns how the source is doing.
func (s *source) statuses(packs []pack.Status, now int64) ([]pack.Status, feed.SourceHealth) {
	s.mu.Lock()
	defer s.mu.Unlock()
	health := feed.SourceHealth{Source: s.plan.name, Heard: s.heard}
	heard, fresh := 0, 0
	for _, d := range s.decoders {
		for i := range d.Packs() {
			packs = append(packs, pack.Status{})
			heard++
			if d.Status(i, now, &packs[len(packs)-1]) {
				fresh++
			}
		}
	}
	health.Fresh = heard > 0 && fresh == heard
	return packs, health
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
