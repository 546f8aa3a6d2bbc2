package canbus

import (
	"math"
	"testing"
	"time"

	"packlink/transport"
)

// TestLoadOfASaturatedBus fills a bus with frames of the lengths and rates of
// STANDARDS.md, 5.1: id 555 with AAAAAAAAAAAAAAAA takes 112 bits, so 1 Mbit/s
// carries 8928.57 of them in a second, and half as many are half the load.
func TestLoadOfASaturatedBus(t *testing.T) {
	for _, share := range []float64{1, 0.5, 0.1} {
		m := NewLoadMeter(1_000_000)
		f := canFrame(t, 0x555, false, "AAAAAAAAAAAAAAAA")
		const start = int64(1_700_000_000_000_000_000)
		step := 112_000 / share
		for i := 0.0; i*step < 3e9; i++ {
			f.Time = start + int64(i*step)
			m.Add(&f)
		}
		got, ok := m.Percent(f.Time)
		if !ok || math.Abs(got-100*share) > 0.2 {
			t.Errorf("%.2f %%, %t, want %.0f %%", got, ok, 100*share)
		}
	}
}

func TestLoadIsUnknown(t *testing.T) {
	second := int64(time.Second)
	frame := transport.Frame{Time: 100 * second}
	fd := transport.Frame{Time: 100*second + second/2, Flags: transport.FD}
	report := transport.Frame{Time: 100 * second, Flags: transport.BusError}
	for name, c := range map[string]struct {
		bitRate int
		frames  []transport.Frame
		now     int64
	}{
		"no bit rate":      {0, []transport.Frame{frame}, 102 * second},
		"nothing heard":    {500_000, nil, 102 * second},
		"an error only":    {500_000, []transport.Frame{report}, 102 * second},
		"less than second": {500_000, []transport.Frame{frame}, 100*second + second/2},
		"CAN FD":           {500_000, []transport.Frame{frame, fd}, 101*second + second/10},
	} {
		m := NewLoadMeter(c.bitRate)
		for i := range c.frames {
			m.Add(&c.frames[i])
		}
		if percent, ok := m.Percent(c.now); ok {
			t.Errorf("%s: %v %%", name, percent)
		}
	}
}

// TestLoadSlides lets a second pass after which nothing is left, and adds a frame
// that comes too late.
func TestLoadSlides(t *testing.T) {
	m := NewLoadMeter(500_000)
	f := transport.Frame{Time: 1000 * int64(time.Second)}
	m.Add(&f)
	for _, c := range []struct {
		after time.Duration
		zero  bool
	}{{time.Second, false}, {1010 * time.Millisecond, true}, {time.Hour, true}} {
		percent, ok := m.Percent(f.Time + int64(c.after))
		if !ok || (percent == 0) != c.zero {
			t.Errorf("after %s: %v %%, %t", c.after, percent, ok)
		}
	}
	m.Add(&f)
	if percent, ok := m.Percent(f.Time + int64(time.Hour)); !ok || percent != 0 {
		t.Errorf("a late frame counts: %v %%, %t", percent, ok)
	}
}

// TestLoadAfterTheClockIsSet holds that a load from before the clock was set back is not
// shown as the present one, and that a clock before 1970 is a clock.
func TestLoadAfterTheClockIsSet(t *testing.T) {
	for _, begun := range []time.Duration{5 * time.Hour, -5 * time.Hour} {
		m := NewLoadMeter(500_000)
		hear := func(from time.Duration, frames int) time.Duration {
			f := canFrame(t, 0x555, false, "AAAAAAAAAAAAAAAA")
			for range frames {
				from += time.Millisecond
				f.Time = int64(from)
				m.Add(&f)
			}
			return from
		}
		now := hear(begun, 3000)
		hear(now+2*time.Hour, 3000)
		back := now + time.Hour
		if percent, ok := m.Percent(int64(back)); ok {
			t.Errorf("from %s on: %v %% right after the clock was set back", begun, percent)
		}
		now = hear(back, 10) + 1010*time.Millisecond
		if percent, ok := m.Percent(int64(now)); !ok || percent > 1 {
			t.Errorf("from %s on: %v %%, %t, of ten frames", begun, percent, ok)
		}
	}
}
