package capture

import "fmt"

// Kind names what is wrong with a capture, in one word.
type Kind string

// The kinds of error. After the last five the next Receive goes on behind the
// packet or line at fault; after the others there is no way on.
const (
	KindEmpty          Kind = "empty"           // no bytes at all
	KindClassicPcap    Kind = "classic-pcap"    // the older pcap format, which is not read
	KindUnknownFormat  Kind = "unknown-format"  // neither pcapng nor a text log
	KindByteOrder      Kind = "byte-order"      // a section's byte-order magic is wrong
	KindVersion        Kind = "version"         // a section is of another version than 1.0 or 1.2
	KindBlockLength    Kind = "block-length"    // a block's length is impossible
	KindTrailingLength Kind = "trailing-length" // a block's two lengths differ
	KindCapturedLength Kind = "captured-length" // a packet is longer than its block
	KindOversize       Kind = "oversize"        // a block, name or line is longer than this package reads
	KindInterface      Kind = "interface"       // an interface is undeclared, or one too many
	KindDescription    Kind = "description"     // an interface's options cannot be read
	KindOption         Kind = "option"          // a packet's options cannot be read
	KindTime           Kind = "time"            // a time stamp is beyond the years 1678 to 2262
	KindNoTime         Kind = "no-time"         // a packet has no time stamp, so it cannot be ordered
	KindFrame          Kind = "frame"           // a packet does not hold a frame
	KindLine           Kind = "line"            // a line of a text log does not hold a frame
)

// Error says what is wrong with a capture, and where.
type Error struct {
	Capture string // the capture's name
	Offset  int64  // where, in bytes from the start of the capture
	Line    int64  // where in a text log, from 1; 0 in a pcapng
	Kind    Kind
	Detail  string // what was expected and what was found
}

// Error is one sentence, with a try: line where a command would help.
func (e *Error) Error() string {
	if e.Line > 0 {
		return fmt.Sprintf("%s: line %d: %s", e.Capture, e.Line, e.Detail)
	}
	return fmt.Sprintf("%s: byte %d: %s", e.Capture, e.Offset, e.Detail)
}

// Resumable tells whether the next Receive goes on with what follows. If not,
// it returns the same error again.
func (e *Error) Resumable() bool {
	switch e.Kind {
	case KindOption, KindTime, KindNoTime, KindFrame, KindLine:
		return true
	}
	return false
}
