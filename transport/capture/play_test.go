package capture

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"packlink/transport"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// times is a receiver of frames that have a time and nothing else.
type times []int64

func (r *times) Receive(f *transport.Frame) error {
	if len(*r) == 0 {
		return io.EOF
	}
	*f = transport.Frame{Time: (*r)[0]}
	*r = (*r)[1:]
	return nil
}

func (r *times) Close() error { return nil }

// played is when each frame was handed over and what its time became, both in
// nanoseconds after the beginning. It runs on the clock of a bubble.
func played(t *testing.T, speed float64, recorded ...int64) (handed, became []int64) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		r := times(recorded)
		err := Play(t.Context(), &r, speed, func(f *transport.Frame) error {
			handed = append(handed, int64(time.Since(begun)))
			became = append(became, f.Time-begun.UnixNano())
			return nil
		})
		if err != nil {
			t.Error(err)
		}
	})
	return handed, became
}

func TestPlay(t *testing.T) {
	const s = int64(time.Second)
	for _, c := range []struct {
		name           string
		speed          float64
		recorded       []int64
		handed, became []int64
	}{
		{"real time", 1, []int64{100 * s, 100*s + 1, 103 * s}, []int64{0, 1, 3 * s}, nil},
		{"twice as fast", 2, []int64{100 * s, 103 * s}, []int64{0, 3 * s / 2}, nil},
		{"a quarter of the speed", 0.25, []int64{100 * s, 103 * s}, []int64{0, 12 * s}, nil},
		{"flat out", FlatOut, []int64{100 * s, 103 * s, 900 * s}, []int64{0, 0, 0}, nil},
		{"infinitely fast", math.Inf(1), []int64{100 * s, 103 * s}, []int64{0, 0}, nil},
		{"out of order", 1, []int64{10 * s, 11 * s, 11*s - 5, 12 * s}, []int64{0, s, s, 2 * s}, []int64{0, s, s, 2 * s}},
		{"the clock was set back", 1, []int64{900 * s, 901 * s, 5 * s, 7 * s}, []int64{0, s, s, 3 * s}, nil},
		{"from one end of time to the other", FlatOut, []int64{math.MaxInt64, math.MinInt64, math.MaxInt64}, []int64{0, 0, 0}, nil},
		{"back to the beginning of time", 1, []int64{math.MaxInt64, math.MinInt64, math.MinInt64 + s}, []int64{0, 0, s}, nil},
		{"no frame", 1, nil, nil, nil},
	} {
		handed, became := played(t, c.speed, c.recorded...)
		if c.became == nil {
			c.became = c.handed
		}
		if !slices.Equal(handed, c.handed) || !slices.Equal(became, c.became) {
			t.Errorf("%s: handed over at %v with times %v, want %v with %v", c.name, handed, became, c.handed, c.became)
		}
	}
}

// TestPlayCatchesUp keeps the schedule when out takes longer than a gap.
func TestPlayCatchesUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begun := time.Now()
		var handed []time.Duration
		err := Play(t.Context(), &times{0, 10, 20, 100}, 1, func(*transport.Frame) error {
			handed = append(handed, time.Since(begun))
			if len(handed) == 1 {
				time.Sleep(50 * time.Nanosecond)
			}
			return nil
		})
		if want := []time.Duration{0, 50, 50, 100}; err != nil || !slices.Equal(handed, want) {
			t.Errorf("handed over at %v, want %v; %v", handed, want, err)
		}
	})
}

// TestPlayHonoursTheContext cancels it before the beginning, in a wait of an
// hour, and in out. The bubble's clock shows that nothing waits on.
func TestPlayHonoursTheContext(t *testing.T) {
	hour := int64(time.Hour)
	for name, c := range map[string]struct {
		after  time.Duration // when the context is cancelled; 0 is before Play
		speed  float64
		frames int // how many are handed over; the last one cancels it too
	}{
		"before the beginning": {0, 1, 0},
		"in a wait":            {time.Minute, 1, 1},
		"in out, real time":    {2 * time.Hour, 1, 2},
		"in out, flat out":     {2 * time.Hour, FlatOut, 2},
	} {
		synctest.Test(t, func(t *testing.T) {
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			if c.after == 0 {
				cancel()
			}
			time.AfterFunc(c.after, cancel)
			begun, handed := time.Now(), 0
			err := Play(ctx, &times{0, hour, 3 * hour}, c.speed, func(*transport.Frame) error {
				if handed++; handed == 2 {
					cancel()
				}
				return nil
			})
			if !errors.Is(err, context.Canceled) || handed != c.frames || time.Since(begun) > time.Hour {
				t.Errorf("%s: %d frames in %v, %v; want %d", name, handed, time.Since(begun), err, c.frames)
			}
		})
	}
}

// TestPlayWaitsForCenturies must end by its context, not by an overflow: the
// frame at the end of time, and a slow speed that makes any gap endless.
func TestPlayWaitsForCenturies(t *testing.T) {
	for name, c := range map[string]struct {
		speed float64
		r     times
	}{"a gap": {1, times{0, math.MaxInt64}}, "a slow speed": {1e-300, times{0, 1}}} {
		synctest.Test(t, func(t *testing.T) {
			ctx, cancel := context.WithTimeout(t.Context(), 50*365*24*time.Hour)
			defer cancel()
			handed := 0
			err := Play(ctx, &c.r, c.speed, func(*transport.Frame) error { handed++; return nil })
			if !errors.Is(err, context.DeadlineExceeded) || handed != 1 {
				t.Errorf("%s: %d frames, %v", name, handed, err)
			}
		})
	}
}

func TestPlayRefusesSpeeds(t *testing.T) {
	for _, speed := range []float64{0, -1, math.NaN(), math.Inf(-1)} {
		err := Play(t.Context(), &times{1}, speed, func(*transport.Frame) error { t.Error("a frame came"); return nil })
		if err == nil || !strings.Contains(err.Error(), "expected a number above 0") {
			t.Errorf("speed %v: got %v", speed, err)
		}
	}
}

func TestPlayPassesErrorsOn(t *testing.T) {
	log := "(1.0) can0 123#\n(1.0) can0 broken\n"
	r, err := NewReader(bytes.NewReader([]byte(log)), "log")
	if err != nil {
		t.Fatal(err)
	}
	handed := 0
	err = Play(t.Context(), r, 1, func(*transport.Frame) error { handed++; return nil })
	if e := (*Error)(nil); !errors.As(err, &e) || e.Line != 2 || handed != 1 {
		t.Errorf("got %d frames, %v", handed, err)
	}
	down := errors.New("the bus is down")
	if err := Play(t.Context(), &times{1}, 1, func(*transport.Frame) error { return down }); err != down {
		t.Errorf("got %v, want the error of out", err)
	}
}
