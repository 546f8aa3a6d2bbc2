package serialbus

import "fmt"

// EventKind names what happened on a line, in one word.
type EventKind string

// What is reported. Each is reported once, at the moment things change.
const (
	EventGone       EventKind = "gone"       // the port was unplugged, or the connection lost
	EventBack       EventKind = "back"       // it is open again
	EventStranger   EventKind = "stranger"   // somebody else is asking on this line
	EventNoise      EventKind = "noise"      // bytes were heard that are part of no message
	EventSilent     EventKind = "silent"     // a unit does not answer
	EventAnswering  EventKind = "answering"  // a unit that was silent answers again
	EventSlow       EventKind = "slow"       // a unit answers, but after the time-out
	EventWithheld   EventKind = "withheld"   // a unit that answers does not give some registers now
	EventGiven      EventKind = "given"      // it gives them again
	EventUnreadable EventKind = "unreadable" // a unit refuses some registers, which are not asked for any more
)

// Event is something that a person should know of a line.
type Event struct {
	Kind     EventKind
	Endpoint string // the line, as the user wrote it
	Unit     byte   // the unit it is about; 0 if it is about the line
	Detail   string // what happened
}

// String is the event as one sentence.
func (e Event) String() string {
	if e.Unit == 0 {
		return e.Endpoint + ": " + e.Detail
	}
	return fmt.Sprintf("%s: unit %d %s", e.Endpoint, e.Unit, e.Detail)
}
