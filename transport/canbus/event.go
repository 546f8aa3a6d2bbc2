package canbus

import (
	"fmt"
	"strconv"
)

// EventKind is what changed on a bus.
type EventKind uint8

// The kinds of event.
const (
	LinkDown       EventKind = iota + 1 // the interface is there but down
	Gone                                // the interface or adapter is not there
	Back                                // it is there again, and up
	StateChanged                        // the controller has another error state
	Unacknowledged                      // nobody on the bus acknowledges what is sent
	Acknowledged                        // somebody does again
	Refused                             // the adapter refuses what it is told
	Unasked                             // a question cannot be sent
)

// Event is one transition of a bus.
type Event struct {
	Endpoint string
	Kind     EventKind
	State    State // for StateChanged: the new state
	Why      error // for Gone, LinkDown and Unasked: what told it
}

// String is the event as one line of a log, without the time.
func (e Event) String() string { return e.Endpoint + ": " + e.what() }

func (e Event) what() string {
	switch e.Kind {
	case LinkDown:
		return "the interface is down; waiting until it is up"
	case Gone:
		return fmt.Sprintf("gone (%v); waiting until it is back", e.Why)
	case Back:
		return "back"
	case StateChanged:
		return "the controller is " + e.State.String()
	case Unacknowledged:
		return "nobody acknowledges what is sent"
	case Acknowledged:
		return "acknowledged again"
	case Refused:
		return "the adapter refuses what it is told"
	case Unasked:
		return fmt.Sprintf("a question cannot be sent (%v); it is tried again", e.Why)
	}
	return "event " + strconv.Itoa(int(e.Kind))
}
