package canbus

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

const millisecond = int64(time.Millisecond)

// TestClockSpreadsAChunk reads five frames at once that the adapter stamped 10 ms
// apart, around the end of its minute.
func TestClockSpreadsAChunk(t *testing.T) {
	var c adapterClock
	base := int64(1_700_000_000_000) * millisecond
	if got := c.at(59900, base); got != base {
		t.Fatalf("the first frame is moved by %d ns", got-base)
	}
	read := base + 150*millisecond
	for i, stamp := range []uint16{59980, 59990, 0, 10, 20} {
		want := base + int64(80+10*i)*millisecond
		if got := c.at(stamp, read); got > want+millisecond || got < want {
			t.Errorf("stamp %d: %d ms after the first, want %d", stamp, (got-base)/millisecond, (want-base)/millisecond)
		}
	}
}

// TestClockStaysHonest lets an adapter stamp as it likes: no frame is later than
// its reading, none earlier than the longest delay, and time never runs back.
func TestClockStaysHonest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var c adapterClock
		read := int64(1_700_000_000_000) * millisecond
		last := int64(0)
		for range rapid.IntRange(1, 50).Draw(t, "frames") {
			read += rapid.Int64Range(0, 100_000*millisecond).Draw(t, "pause")
			got := c.at(rapid.Uint16Max(stampRange-1).Draw(t, "stamp"), read)
			if got > read || got < read-longestDelay || got < last {
				t.Fatalf("read at %d, time %d, after %d", read, got, last)
			}
			last = got
		}
	})
}

// TestClockFollowsDrift runs an adapter whose clock is off by 500 ppm either way
// for ten minutes: the time stays within some milliseconds of the truth.
func TestClockFollowsDrift(t *testing.T) {
	for _, ppm := range []int64{-500, 0, 500} {
		var c adapterClock
		base := int64(1_700_000_000_000) * millisecond
		for at := int64(0); at < 600_000*millisecond; at += 100 * millisecond {
			adapter := (at + at*ppm/1_000_000) / millisecond
			got := c.at(uint16(adapter%stampRange), base+at+2*millisecond)
			if off := got - base - at; off < -5*millisecond || off > 5*millisecond {
				t.Fatalf("%d ppm: %d ms off after %d s", ppm, off/millisecond, at/1000/millisecond)
			}
		}
	}
}
