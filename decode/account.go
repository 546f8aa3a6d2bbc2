package decode

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"packlink/mapping"
)

// Account says of every bit of one frame what it is by a mapping. It is for
// looking at a single frame; a [Decoder] follows a bus.
type Account struct {
	Frame    string   `json:"frame"`              // what was looked at: "id 355", "registers 0 to 39"
	Messages []string `json:"messages,omitempty"` // the messages that it is, none if nothing matches
	Address  *uint32  `json:"address,omitempty"`  // of the pack, if the frame says it
	Spans    []Span   `json:"spans"`              // every bit of the frame once, in its order
	Absent   []string `json:"absent,omitempty"`   // fields that lie beyond the end of the frame, with their places
	Problems []string `json:"problems,omitempty"` // why no message matches, or why the frame is refused
	Nearest  []string `json:"nearest,omitempty"`  // messages that it could have been meant to be
}

// Span is some bits of a frame that belong together.
type Span struct {
	Kind      string          `json:"kind"` // one of the Span constants
	Bits      []Bits          `json:"bits"`
	Registers string          `json:"registers,omitempty"` // that they are, as a person reads it: "register 34 bit 0"
	Name      string          `json:"name,omitempty"`      // the quantity, or what the mapping calls it
	Raw       string          `json:"raw"`                 // hexadecimal: the number, or the bytes of a text
	Bytes     string          `json:"bytes,omitempty"`     // of a number that fills several: they as they stand
	Value     json.RawMessage `json:"value,omitempty"`     // as in a record; absent if it is not known
	Unit      string          `json:"unit,omitempty"`
	Note      string          `json:"note,omitempty"` // what else is to be said of it
	Wrong     bool            `json:"wrong,omitempty"`
}

// The kinds of spans.
const (
	SpanField    = "field"    // a quantity, a name, an alarm
	SpanConstant = "constant" // it has one value in every frame of the message
	SpanAddress  = "address"  // the pack's address
	SpanHead     = "head"     // what stands around the payload: unit, function, start and the like
	SpanLength   = "length"
	SpanChecksum = "checksum"
	SpanReserved = "reserved" // no field of the message reads it
	SpanCut      = "cut"      // the beginning of a field whose end is missing
	SpanBeyond   = "beyond"   // behind the end of the message
	SpanUnknown  = "unknown"  // of no message
)

// accountant makes an account of a frame of which all bytes are there.
type accountant struct {
	Account
	frame []byte
	used  []byte // bits of each byte that a span has
	data  int    // byte at which the data of a serial line's frame begin, 0 on other buses

	registersFrom, registersTo int // bytes of the frame that are registers, up to the latter
	register                   int // the first of them
}

func newAccountant(frame []byte, what string, args ...any) *accountant {
	return &accountant{Account: Account{Frame: fmt.Sprintf(what, args...), Spans: []Span{}}, frame: frame, used: make([]byte, len(frame))}
}

func (a *accountant) problem(format string, args ...any) {
	a.Problems = append(a.Problems, fmt.Sprintf(format, args...))
}

// claim takes bits of the frame, by byte, for a span. Bits that an earlier span
// has stay with it.
func (a *accountant) claim(s Span, masks map[int]byte) {
	for at, mask := range masks {
		if at >= 0 && at < len(a.frame) {
			s.Bits = append(s.Bits, runs(at, mask&^a.used[at])...)
			a.used[at] |= mask
		}
	}
	if len(s.Bits) == 0 {
		return
	}
	slices.SortFunc(s.Bits, Bits.compare)
	if first := s.Bits[0].Byte; first >= a.registersFrom && first < a.registersTo {
		s.Registers = a.inRegisters(s.Bits)
	}
	a.Spans = append(a.Spans, s)
}

// bytesOf are the bytes of the frame that hold some bits, in hexadecimal digits.
func (a *accountant) bytesOf(masks map[int]byte) string {
	var there []byte
	for _, at := range slices.Sorted(maps.Keys(masks)) {
		if at >= 0 && at < len(a.frame) {
			there = append(there, a.frame[at]&masks[at])
		}
	}
	return fmt.Sprintf("% X", there)
}

// claimBytes takes whole bytes for a span, with their value as its raw value.
func (a *accountant) claimBytes(s Span, from, to int) {
	masks := make(map[int]byte)
	for at := from; at < to; at++ {
		masks[at] = 0xFF
	}
	s.Raw = fmt.Sprintf("% X", a.frame[max(from, 0):min(to, len(a.frame))])
	a.claim(s, masks)
}

// reserve takes what no span has among some bytes: bits that no field reads,
// which are written as fill.
func (a *accountant) reserve(from, to int, fill byte) {
	for at := from; at < min(to, len(a.frame)); at++ {
		free := ^a.used[at]
		if free == 0 {
			continue
		}
		s := Span{Kind: SpanReserved, Raw: fmt.Sprintf("%02X", a.frame[at]&free), Note: "no field reads it"}
		if a.frame[at]&free != fill&free {
			s.Wrong, s.Note = true, fmt.Sprintf("no field reads it; it is written as %02X", fill&free)
		}
		a.claim(s, map[int]byte{at: free})
	}
}

// rest takes the bytes that are left over.
func (a *accountant) rest(kind, note string) {
	for at := 0; at < len(a.frame); at++ {
		end := at
		for end < len(a.frame) && a.used[end] == 0 {
			end++
		}
		if end > at {
			a.claimBytes(Span{Kind: kind, Note: note, Wrong: kind == SpanBeyond}, at, end)
			at = end
		}
	}
}

// done is the account, its spans in the order of the frame.
func (a *accountant) done() *Account {
	slices.SortStableFunc(a.Spans, func(s, other Span) int { return s.Bits[0].compare(other.Bits[0]) })
	return &a.Account
}

// message notes which message the frame is.
func (a *accountant) message(p *mapping.Program) {
	if !slices.Contains(a.Messages, p.Name) {
		a.Messages = append(a.Messages, p.Name)
	}
}

// says notes the pack's address.
func (a *accountant) says(address uint32, has bool) {
	if has {
		a.Address = &address
	}
}
