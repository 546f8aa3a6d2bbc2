package capture

import (
	"context"
	"fmt"
	"io"
	"math"
	"time"

	"packlink/transport"
)

// FlatOut is the speed that never waits.
const FlatOut = math.MaxFloat64

// clockStep is how far back a frame may lie behind the one before it and still
// belong to the same clock: interfaces recorded side by side are some
// milliseconds out of order, a clock that was set jumps further.
const clockStep = uint64(time.Second)

// centuries is a wait that no one sees the end of, in nanoseconds: 146 years.
const centuries = math.MaxInt64 / 2

// Play hands the frames of r to out at the times they were recorded with, speed
// times as fast; the first frame is due now, and at [FlatOut] and above nothing
// waits. A frame's time becomes the time it is handed over.
//
// A frame that lies behind the one before it is handed over at once; from one
// that lies more than a second behind, the recording's clock was set back, and
// it is due with the one before it. A gap is waited for, however long.
//
// Play returns nil when r ends, the context's error as soon as that is done, or
// the first error of r or out. It ends between two calls of r and out, not in
// one, and does not close r. A speed that is not above 0 is refused.
func Play(ctx context.Context, r transport.Receiver, speed float64, out func(*transport.Frame) error) error {
	if !(speed > 0) {
		return fmt.Errorf("a capture cannot be played at speed %v, expected a number above 0", speed)
	}
	p := player{speed: speed, timer: time.NewTimer(0)}
	defer p.timer.Stop()
	var f transport.Frame
	for ctx.Err() == nil {
		if err := r.Receive(&f); err == io.EOF {
			return nil
		} else if err != nil {
			return err
		}
		if err := p.await(ctx, &f); err != nil {
			return err
		}
		if err := out(&f); err != nil {
			return err
		}
	}
	return ctx.Err()
}

// player knows where on the wall clock the recording stands.
type player struct {
	speed    float64
	timer    *time.Timer
	begun    time.Time // when the first frame was due; zero before it
	first    int64     // the recorded time that is begun
	previous int64     // the recorded time of the frame before
}

// await waits until f is due and gives it its new time.
func (p *player) await(ctx context.Context, f *transport.Frame) error {
	if p.speed >= FlatOut {
		f.Time = time.Now().UnixNano()
		return ctx.Err()
	}
	elapsed := p.schedule(f.Time)
	if err := p.sleepUntil(ctx, p.begun.Add(elapsed)); err != nil {
		return err
	}
	f.Time = time.Now().UnixNano()
	return nil
}

// schedule is how long after the beginning a frame is due.
func (p *player) schedule(recorded int64) time.Duration {
	if p.begun.IsZero() {
		p.begun, p.first, p.previous = time.Now(), recorded, recorded
	}
	if recorded < p.previous && uint64(p.previous)-uint64(recorded) > clockStep {
		p.first += recorded - p.previous
	}
	p.previous = recorded
	elapsed := float64(recorded-p.first) / p.speed
	return time.Duration(max(-centuries, min(elapsed, centuries)))
}

func (p *player) sleepUntil(ctx context.Context, due time.Time) error {
	wait := time.Until(due)
	if wait <= 0 {
		return ctx.Err()
	}
	p.timer.Reset(wait)
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-p.timer.C:
		return ctx.Err()
	}
}
