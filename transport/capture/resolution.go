package capture

import (
	"fmt"
	"math"
	"math/bits"
)

// Resolution is the length of a time stamp's tick as pcapng writes it
// (draft-ietf-opsawg-pcapng, option if_tsresol): 10^-n s, or 2^-n s when the
// highest bit is set.
type Resolution uint8

// The resolutions that are written, assumed, and had by a text log.
const (
	Nanoseconds  Resolution = 9
	Microseconds Resolution = 6
)

// String is the length of a tick in seconds: "10^-9 s".
func (r Resolution) String() string {
	if r&0x80 != 0 {
		return fmt.Sprintf("2^-%d s", r&0x7F)
	}
	return fmt.Sprintf("10^-%d s", r)
}

// clock turns the ticks of an interface into nanoseconds since the Unix epoch:
// ticks * multiply / divide / 2^shift + offset.
type clock struct {
	multiply, divide uint64
	shift            uint
	offset           int64 // nanoseconds
	plain            bool  // a tick is a nanosecond since the epoch
}

// newClock is the clock of a resolution whose ticks count from offset
// nanoseconds after the epoch.
func newClock(r Resolution, offset int64) clock {
	c := clock{multiply: 1, divide: 1, offset: offset, plain: r == Nanoseconds && offset == 0}
	switch {
	case r&0x80 != 0:
		c.multiply, c.shift = 1e9, uint(r&0x7F)
	case r <= 9:
		c.multiply = powerOfTen(9 - r)
	case r <= 28:
		c.divide = powerOfTen(r - 9)
	default: // 2^64 ticks of 10^-29 s are less than a nanosecond
		c.multiply = 0
	}
	return c
}

func powerOfTen(n Resolution) uint64 {
	p := uint64(1)
	for ; n > 0; n-- {
		p *= 10
	}
	return p
}

// nanoseconds is the time of a tick, rounded down. It is false when that does
// not fit.
func (c *clock) nanoseconds(ticks uint64) (int64, bool) {
	if c.plain {
		return int64(ticks), ticks <= math.MaxInt64
	}
	return c.convert(ticks)
}

func (c *clock) convert(ticks uint64) (int64, bool) {
	ns, fits := c.scale(ticks)
	if !fits || ns > math.MaxInt64 {
		return 0, false
	}
	t := int64(ns) + c.offset
	return t, c.offset <= 0 || t >= c.offset
}

func (c *clock) scale(ticks uint64) (uint64, bool) {
	high, low := bits.Mul64(ticks, c.multiply)
	if c.shift >= 64 {
		return high >> (c.shift - 64), true
	}
	if high>>c.shift != 0 {
		return 0, false
	}
	return (high<<(64-c.shift) | low>>c.shift) / c.divide, true
}
