package serialbus

// Outcome is how a request ended, or what else came from a unit.
type Outcome uint8

// The outcomes. Each request has exactly one of those before Late; the last two
// are counted besides.
const (
	Answered    Outcome = iota // the values came
	Refused                    // the unit answered with an exception
	NoAnswer                   // nothing came in time
	BadChecksum                // an answer of the right length came, with a wrong CRC
	Half                       // only the beginning of an answer came
	WrongAnswer                // the unit answered, but not what was asked
	WrongUnit                  // another unit answered
	Unclear                    // bytes came in which there is no message
	Interrupted                // the line was lost meanwhile
	Late                       // an answer came after its time-out, and was dropped
	Double                     // an answer came once more, and was dropped
	outcomes
)

var outcomeNames = [outcomes]string{
	"answered", "refused", "no answer", "bad checksum", "half an answer", "wrong answer",
	"wrong unit", "unclear", "interrupted", "late answer", "double answer",
}

// String is the outcome in words.
func (o Outcome) String() string {
	if o < outcomes {
		return outcomeNames[o]
	}
	return "unknown outcome"
}

// UnitCounts is how a unit's requests went since the poller began.
type UnitCounts struct {
	Unit       byte
	Asked      int64                // requests sent
	Outcomes   [int(outcomes)]int64 // by Outcome
	Skipped    int64                // turns left out, as the line had no time for them
	Silent     bool                 // it does not answer now
	Unreadable []Registers          // what it refuses, and is not asked for now
}

// Counts is how polling went since the poller began.
type Counts struct {
	Units     []UnitCounts // in the plan's order
	Strangers int64        // messages of somebody else: another asker, or answers to it
	Echoes    int64        // own requests heard again, as some adapters do
	Noise     int64        // bytes that are part of no message
	Losses    int64        // times the line was lost
}
