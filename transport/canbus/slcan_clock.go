package canbus

import "time"

// adapterClock turns the time stamps of an adapter, milliseconds that start
// again after a minute, into the time of this machine. The stamps order and
// spread frames that came in one piece; the time stays honest: never after the
// frame was read, and never long before.
type adapterClock struct {
	known  bool
	offset int64 // what is added to the adapter's time, in nanoseconds modulo a minute
	newest int64 // the last time given
	read   int64 // when that frame was read
}

const (
	clockRound = int64(stampRange) * int64(time.Millisecond)
	// clockCreep is the share by which an adapter's clock may lag: the offset
	// creeps forward by it, and an early frame pulls it back.
	clockCreep = 1000
	// longestDelay is how long before it was read a frame can have been on the bus.
	longestDelay = int64(250 * time.Millisecond)
)

// at is the time of a frame with this stamp that was read at the given time, both
// times in nanoseconds since the Unix epoch.
func (c *adapterClock) at(stamp uint16, read int64) int64 {
	adapter := int64(stamp) * int64(time.Millisecond)
	if c.known {
		c.offset += max(0, read-c.read) / clockCreep
	}
	behind := wrap(read - adapter - c.offset)
	if !c.known || behind < 0 || behind > longestDelay {
		c.offset, behind = (read-adapter)%clockRound, 0
		c.known = true
	}
	c.read = read
	c.newest = min(read, max(c.newest, read-behind))
	return c.newest
}

// wrap brings a difference of times into the half round on either side of 0.
func wrap(d int64) int64 {
	d %= clockRound
	switch {
	case d >= clockRound/2:
		return d - clockRound
	case d < -clockRound/2:
		return d + clockRound
	}
	return d
}
