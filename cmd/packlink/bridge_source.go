package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"sync"

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

// source follows one source of the bridge.
type source struct {
	plan    *sourcePlan
	wake    func() // called after each frame
	mu      sync.Mutex
	decoder *decode.Decoder
	heard   int64
}

func newSource(p *sourcePlan, wake func()) *source {
	return &source{plan: p, wake: wake, decoder: decode.NewDecoder(p.table, p.name)}
}

// run plays the source's frames until it ends or ctx does. A source that ends
// takes nothing else down.
func (s *source) run(ctx context.Context, log io.Writer) {
	err := s.play(ctx)
	if ctx.Err() != nil {
		return
	}
	if err != nil {
		fmt.Fprintf(log, "source %s: stopped: %v\n", s.plan.name, err)
		return
	}
	fmt.Fprintf(log, "source %s: the recording has ended\n", s.plan.name)
}

func (s *source) play(ctx context.Context) error {
	r, err := s.plan.open()
	if err != nil {
		return err
	}
	defer r.Close()
	return capture.Play(ctx, r, s.plan.speed, func(f *transport.Frame) error {
		s.mu.Lock()
		s.decoder.Decode(f)
		s.heard = f.Time
		s.mu.Unlock()
		s.wake()
		return nil
	})
}

// statuses appends the status of each of the source's packs at an instant, and
// returns how the source is doing.
func (s *source) statuses(packs []pack.Status, now int64) ([]pack.Status, feed.SourceHealth) {
	s.mu.Lock()
	defer s.mu.Unlock()
	health := feed.SourceHealth{Source: s.plan.name, Heard: s.heard, Fresh: s.decoder.Packs() > 0}
	for i := range s.decoder.Packs() {
		var status pack.Status
		fresh := s.decoder.Status(i, now, &status)
		health.Fresh = health.Fresh && fresh
		packs = append(packs, status)
	}
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
