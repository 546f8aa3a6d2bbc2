package pack

// Trust says how far a value may be believed.
type Trust uint8

// The trust in a value, as bits. The zero value is a value that is not known.
const (
	Known   Trust = 1 << iota // the pack gave it, or it follows from what the pack gave
	Stale                     // its message is overdue
	Below                     // it lies below the mapping's plausible range
	Above                     // it lies above the mapping's plausible range
	Missing                   // the pack counts this element of a list, and says that it has no value
)

// Value is one quantity's value, when it was given and by which message. A
// flag is 0 or 1; for a text or a list the value tells presence and time, and
// the content stands beside it.
type Value struct {
	Coef  int64  // with Exp, the exact decimal
	At    int64  // nanoseconds since the Unix epoch of the frame that gave it
	By    uint16 // the mapping's message that gave it, from 0
	Exp   int8
	Trust Trust
}

// Decimal is the value as a number.
func (v Value) Decimal() Decimal { return Decimal{v.Coef, v.Exp} }

// Suspect tells whether the value lies outside the mapping's plausible range.
func (v Value) Suspect() bool { return v.Trust&(Below|Above) != 0 }
