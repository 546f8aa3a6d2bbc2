package main

import (
	"io"

	"packlink/transport"
)

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
