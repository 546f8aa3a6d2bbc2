package canbus

import (
	"encoding/json"
	"errors"
	"testing"
	"time"

	"packlink/transport"
)

// TestFold folds error frames of linux/can/error.h (STANDARDS.md, 5.2) into a health
// that knows nothing.
func TestFold(t *testing.T) {
	for name, c := range map[string]struct {
		class uint32
		data  []byte
		want  Health
	}{
		"receive warning":           {0x004, []byte{0, 0x04, 0, 0, 0, 0, 0, 0}, Health{State: Warning}},
		"transmit warning":          {0x004, []byte{0, 0x08, 0, 0, 0, 0, 0, 0}, Health{State: Warning}},
		"receive passive":           {0x004, []byte{0, 0x10, 0, 0, 0, 0, 0, 0}, Health{State: Passive}},
		"transmit passive":          {0x004, []byte{0, 0x20, 0, 0, 0, 0, 0, 0}, Health{State: Passive}},
		"passive and warning":       {0x004, []byte{0, 0x24, 0, 0, 0, 0, 0, 0}, Health{State: Passive}},
		"active again":              {0x004, []byte{0, 0x40, 0, 0, 0, 0, 0, 0}, Health{State: Active}},
		"overflow says no state":    {0x004, []byte{0, 0x01, 0, 0, 0, 0, 0, 0}, Health{Overruns: 1}},
		"bus-off":                   {0x040, make([]byte, 8), Health{State: BusOff}},
		"restarted":                 {0x100, make([]byte, 8), Health{State: Active}},
		"no acknowledgement":        {0x020, make([]byte, 8), Health{NoAck: true}},
		"counters":                  {0x200, []byte{0, 0, 0, 0, 0, 0, 96, 127}, Health{Counted: true, TxErrors: 96, RxErrors: 127}},
		"counters without class":    {0x008, []byte{0, 0, 0, 0, 0, 0, 96, 127}, Health{}},
		"controller without class":  {0x008, []byte{0, 0x20, 0, 0, 0, 0, 0, 0}, Health{}},
		"passive then off the bus":  {0x044, []byte{0, 0x20, 0, 0, 0, 0, 0, 0}, Health{State: BusOff}},
		"cut before the controller": {0x004, []byte{0}, Health{}},
		"cut before the counters":   {0x200, []byte{0, 0, 0, 0, 0, 0, 96}, Health{}},
		"cut to nothing":            {0x3FF, nil, Health{State: BusOff, NoAck: true}},
	} {
		var h Health
		h.fold(&transport.Frame{ID: c.class, Flags: transport.BusError, Data: c.data})
		h.LastReport = time.Time{}
		c.want.ErrorReports = 1
		if h != c.want {
			t.Errorf("%s: %+v, want %+v", name, h, c.want)
		}
	}
}

func TestStateNames(t *testing.T) {
	for state, want := range map[State]string{StateUnknown: "unknown", Active: "error-active", BusOff: "bus-off", Sleeping: "sleeping", 99: "unknown"} {
		if text, err := json.Marshal(state); err != nil || string(text) != `"`+want+`"` {
			t.Errorf("%d: %s, %v, want %q", state, text, err, want)
		}
	}
}

func TestEventLines(t *testing.T) {
	for want, e := range map[string]Event{
		"can:can0: the interface is down; waiting until it is up":      {Kind: LinkDown},
		"can:can0: gone (no such interface); waiting until it is back": {Kind: Gone, Why: errNoInterface},
		"can:can0: back":                                {Kind: Back},
		"can:can0: the controller is bus-off":           {Kind: StateChanged, State: BusOff},
		"can:can0: nobody acknowledges what is sent":    {Kind: Unacknowledged},
		"can:can0: acknowledged again":                  {Kind: Acknowledged},
		"can:can0: the adapter refuses what it is told": {Kind: Refused},
	} {
		e.Endpoint = "can:can0"
		if got := e.String(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func TestErrorKeepsItsCause(t *testing.T) {
	cause := errors.New("permission denied")
	err := error(&Error{Endpoint: "can:can0", Why: "the interface cannot be opened", Try: "id", Cause: cause})
	if want := "can:can0: the interface cannot be opened: permission denied\ntry: id"; err.Error() != want || !errors.Is(err, cause) {
		t.Errorf("%q, want %q", err, want)
	}
}
