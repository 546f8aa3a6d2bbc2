package canbus

import (
	"time"

	"packlink/transport"
)

// The sliding second of a load meter is made of slots. The one that is being
// filled does not count yet.
const (
	loadSlots = 100
	loadSlot  = int64(time.Second) / loadSlots
	loadRing  = loadSlots + 1
)

// LoadMeter measures how busy a bus is: the bits of the frames of one second
// against those that the bus can carry. It goes by the frames' times. It is for
// one goroutine at a time. Make one with [NewLoadMeter].
type LoadMeter struct {
	bitRate int
	slots   [loadRing]loadCount
	newest  int64 // number of the newest slot, since the Unix epoch
	first   int64 // number of the slot of the first frame; 0 without one
}

// loadCount is what was heard in one slot.
type loadCount struct {
	bits    int
	unknown int // frames whose length is not known
}

// NewLoadMeter makes a meter for a bus of so many bit/s; 0 says that the bit rate
// is not known.
func NewLoadMeter(bitRate int) *LoadMeter { return &LoadMeter{bitRate: bitRate} }

// Add counts a frame. One that is more than a second older than the newest is
// too late to count. Error reports have no length and do not count.
func (m *LoadMeter) Add(f *transport.Frame) {
	if f.Flags&transport.BusError != 0 {
		return
	}
	slot := f.Time / loadSlot
	m.advance(slot)
	if slot <= m.newest-loadRing {
		return
	}
	count := &m.slots[slot%loadRing]
	bits, ok := FrameBits(f)
	if !ok {
		count.unknown++
	}
	count.bits += bits
}

// advance empties the slots between the newest one and this.
func (m *LoadMeter) advance(slot int64) {
	if m.first == 0 {
		m.first, m.newest = slot, slot
	}
	for steps := min(slot-m.newest, loadRing); steps > 0; steps-- {
		m.slots[(slot-steps+1)%loadRing] = loadCount{}
	}
	m.newest = max(m.newest, slot)
}

// Percent is the load of the second before now, in percent of what the bus can
// carry; now is in nanoseconds since the Unix epoch. It is not known, and ok is
// false, without a bit rate, before one second has been heard, and where CAN FD
// frames were among the traffic. It is never clamped: more than 100 means that the bit rate is
// not the one that was given.
func (m *LoadMeter) Percent(now int64) (percent float64, ok bool) {
	slot := now / loadSlot
	if m.bitRate <= 0 || m.first == 0 || slot-m.first < loadSlots {
		return 0, false
	}
	m.advance(slot)
	bits := 0
	for past := m.newest - loadSlots; past < m.newest; past++ {
		count := &m.slots[past%loadRing]
		if count.unknown > 0 {
			return 0, false
		}
		bits += count.bits
	}
	return 100 * float64(bits) / float64(m.bitRate), true
}
