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
	begun   bool  // a frame came
	first   int64 // number of the slot of the first frame, since the Unix epoch
	newest  int64 // likewise, of the newest slot
}

// loadCount is what was heard in one slot.
type loadCount struct {
	bits    int
	unknown int // frames whose length is not known
}

// NewLoadMeter makes a meter for a bus of so many bit/s; 0 says that the bit rate
// is not known.
func NewLoadMeter(bitRate int) *LoadMeter { return &LoadMeter{bitRate: bitRate} }

// Add counts a frame. With one that is more than a second older than the newest the
// clock was set back, and the meter begins anew. Error reports have no length and do
// not count.
func (m *LoadMeter) Add(f *transport.Frame) {
	if f.Flags&transport.BusError != 0 {
		return
	}
	slot := f.Time / loadSlot
	if !m.begun || m.isPast(slot) {
		*m = LoadMeter{bitRate: m.bitRate, begun: true, first: slot, newest: slot}
	}
	m.advance(slot)
	count := m.slot(slot)
	bits, ok := FrameBits(f)
	if !ok {
		count.unknown++
	}
	count.bits += bits
}

// isPast tells whether a slot is no more among those that are kept.
func (m *LoadMeter) isPast(slot int64) bool { return slot <= m.newest-loadRing }

// slot is where a slot is counted.
func (m *LoadMeter) slot(number int64) *loadCount {
	return &m.slots[(number%loadRing+loadRing)%loadRing]
}

// advance empties the slots between the newest one and this.
func (m *LoadMeter) advance(slot int64) {
	for steps := min(slot-m.newest, loadRing); steps > 0; steps-- {
		*m.slot(slot - steps + 1) = loadCount{}
	}
	m.newest = max(m.newest, slot)
}

// Percent is the load of the second before now, in percent of what the bus can
// carry; now is in nanoseconds since the Unix epoch. It is not known, and ok is
// false, without a bit rate, before one second has been heard, after the clock was set
// back, and where CAN FD frames were among the traffic. It is never clamped: more than
// 100 means that the bit rate is not the one that was given.
func (m *LoadMeter) Percent(now int64) (percent float64, ok bool) {
	slot := now / loadSlot
	if m.bitRate <= 0 || !m.begun || slot-m.first < loadSlots || m.isPast(slot) {
		return 0, false
	}
	m.advance(slot)
	bits := 0
	for past := m.newest - loadSlots; past < m.newest; past++ {
		count := m.slot(past)
		if count.unknown > 0 {
			return 0, false
		}
		bits += count.bits
	}
	return 100 * float64(bits) / float64(m.bitRate), true
}
