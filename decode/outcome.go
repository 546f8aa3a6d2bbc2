package decode

// Outcome is what became of a frame.
type Outcome uint8

// The outcomes. All but Decoded, Unknown and Part are rejections: they leave
// every status untouched.
const (
	Decoded    Outcome = iota
	Unknown            // no message of the mapping has this id, or none of those that share it
	Short              // fewer bytes than the message needs
	Long               // more bytes than the message may have
	OutOfRange         // a field that counts others is outside its range
	Damaged            // the bus saw an error, or it is no data frame
	Late               // older than what the pack's same message has said since
	Crowded            // one pack more than [MaxPacks], all of them heard
	Foreign            // of another medium than the mapping's bus
	Part               // of a transfer that is not at its end
	Gap                // of a transfer, and not the frame that is next
	Overtime           // of a transfer that was silent for too long
	Unfinished         // begins a transfer, or ends it, before the same sender's last one was whole; that one is dropped
	Malformed          // has a length, or is of a kind, that its transfer does not have
	outcomes
)

var outcomeNames = [outcomes]string{
	"decoded", "unknown", "short", "long", "out-of-range", "damaged", "late", "crowded", "foreign",
	"part", "gap", "overtime", "unfinished", "malformed",
}

// String is the outcome's name as it stands in counters.
func (o Outcome) String() string { return outcomeNames[o] }

// Rejects tells whether the frame was refused.
func (o Outcome) Rejects() bool { return o != Decoded && o != Unknown && o != Part }

// and is what became of an answer that several messages share: it counts as refused if
// the part of one of them was.
func (o Outcome) and(next Outcome) Outcome {
	if o.Rejects() {
		return o
	}
	return next
}

// Outcomes are all outcomes.
func Outcomes() []Outcome {
	all := make([]Outcome, outcomes)
	for i := range all {
		all[i] = Outcome(i)
	}
	return all
}

// Counters count the frames of a source by what became of them.
type Counters [outcomes]uint64

// Frames is how many frames there were.
func (c *Counters) Frames() (sum uint64) {
	for _, n := range c {
		sum += n
	}
	return sum
}

// Rejected is how many frames the mapping knows but could not read.
func (c *Counters) Rejected() uint64 {
	return c.Frames() - c[Decoded] - c[Part] - c[Unknown] - c[Foreign]
}
