package canbus

import (
	"encoding/json"
	"sync"
	"time"

	"packlink/transport"
)

// State is the error state of a CAN controller (ISO 11898-1, fault confinement).
type State uint8

// The error states, and those of a controller that takes no part.
const (
	StateUnknown State = iota
	Active             // error active: both error counters are below 96
	Warning            // an error counter is at 96 or above
	Passive            // an error counter is at 128 or above
	BusOff             // off the bus: the transmit error counter passed 255
	Stopped            // the interface is down
	Sleeping           // the controller sleeps
)

var stateNames = [...]string{"unknown", "error-active", "error-warning", "error-passive", "bus-off", "stopped", "sleeping"}

// String is the state's name as it stands in messages.
func (s State) String() string {
	if int(s) < len(stateNames) {
		return stateNames[s]
	}
	return stateNames[StateUnknown]
}

// MarshalJSON gives the state's name.
func (s State) MarshalJSON() ([]byte, error) { return json.Marshal(s.String()) }

// Health is how a bus is doing.
type Health struct {
	Present      bool   // the interface or adapter is there
	Up           bool   // it is also up
	State        State  // StateUnknown until something told it
	BitRate      int    // bit/s; 0 if not known
	NoAck        bool   // the last frame that was sent found nobody to acknowledge it
	Counted      bool   // the two counters below are known
	TxErrors     uint16 // the controller's transmit error counter
	RxErrors     uint16 // the controller's receive error counter
	ErrorReports uint64 // errors that the controller reported
	Dropped      uint64 // frames that found no room in the queue of this listener
	Overruns     uint64 // reports that a controller or adapter lost an unknown number of frames
	Damaged      uint64 // serial-line CAN: lines that hold no frame
	Refused      uint64 // serial-line CAN: commands that the adapter refused
	LastReport   time.Time
}

// monitor keeps a bus's health. Its methods return what is to be told; telling
// is done without its lock, so that whoever is told may ask for the health.
type monitor struct {
	endpoint string
	notify   func(Event)

	mu     sync.Mutex
	health Health
}

// get is a copy of the health.
func (m *monitor) get() Health {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.health
}

// change applies a change to the health.
func (m *monitor) change(apply func(h *Health)) {
	m.mu.Lock()
	apply(&m.health)
	m.mu.Unlock()
}

// tell reports an event.
func (m *monitor) tell(kind EventKind, why error) {
	m.notify(Event{Endpoint: m.endpoint, Kind: kind, State: m.get().State, Why: why})
}

// link notes whether the bus is there and up, and tells it if that is new.
func (m *monitor) link(present, up bool, why error) {
	var before Health
	m.change(func(h *Health) {
		before = *h
		h.Present, h.Up = present, up
		if !up {
			h.State, h.Counted, h.NoAck = StateUnknown, false, false
		}
	})
	switch {
	case before.Present == present && before.Up == up:
	case !present:
		m.tell(Gone, why)
	case !up:
		m.tell(LinkDown, why)
	default:
		m.tell(Back, nil)
	}
}

// report folds an error frame into the health, and tells what is new.
func (m *monitor) report(f *transport.Frame) {
	var before, after Health
	m.change(func(h *Health) {
		before = *h
		h.fold(f)
		after = *h
	})
	if after.State != before.State {
		m.tell(StateChanged, nil)
	}
	if after.NoAck && !before.NoAck {
		m.tell(Unacknowledged, nil)
	}
}

// heard notes that the bus carried a frame, which somebody acknowledged.
func (m *monitor) heard() {
	cleared := false
	m.change(func(h *Health) { cleared, h.NoAck = h.NoAck, false })
	if cleared {
		m.tell(Acknowledged, nil)
	}
}
