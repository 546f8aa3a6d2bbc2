// Package mapping reads mapping files: declarative descriptions of what the
// frames of a protocol mean. [Load] reports every mistake of a file at its
// place; [Compile] makes the tables that package decode runs, in both
// directions.
//
// docs/mapping.md describes the format.
package mapping

import (
	"time"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

// Format is the version of the file format that is read here.
const Format = 1

// Mapping is one mapping file.
type Mapping struct {
	Name     string
	Title    string
	Notes    string
	Source   []Source
	Options  []Option
	Choices  []map[string]string // sets of choices, beside the defaults, under which examples hold
	Bus      Bus
	Messages []Message
}

// Source says where a file's statements come from.
type Source struct {
	Title string
	Part  string // section or page, "" if there is none
}

// Option is a choice that the user of a mapping makes when naming it:
// name?option=choice.
type Option struct {
	Name    string
	Title   string
	Choices []string
	Default string
	Chosen  string
}

// Bus is the medium that a mapping's messages travel on: exactly one is set.
type Bus struct {
	CAN       *CANBus
	Registers *RegisterBus
	Serial    *SerialBus
}

// CANBus is a CAN bus of frames that are sent unasked.
type CANBus struct {
	Bitrate int // bit/s
	IDBits  int // 11 or 29
}

// RegisterBus is a Modbus register space, and how its serial line is asked.
type RegisterBus struct {
	Table        string        // "holding" or "input"
	ModelsAt     int           // PDU address of the SunSpec mark that the models follow; -1 if the blocks have fixed addresses
	Units        [2]int        // first and last unit that can be a pack
	Baud         int           // bit/s of the serial line; 0 if the document does not say
	Frame        string        // data bits, parity and stop bits, such as "8N1"; "" if the document does not say
	Most         int           // registers that one request may ask for
	AnswerWithin time.Duration // longest time to an answer; 0 if the document does not say
	Quiet        time.Duration // least silence before a request; 0 for the 3.5 characters of the standard
}

// Message is one kind of frame, or one block of registers.
type Message struct {
	Name     string
	Place    *document.Node // where the file describes it
	CAN      *CANMatch      // on a CAN bus
	Read     *Read          // in a register space
	Frame    *FrameMatch    // on a serial line
	Ask      *Ask           // the question it answers; nil if it is sent unasked
	ByReader bool           // sent to the pack (by an inverter, say), not by it
	Every    time.Duration  // period; 0 if it has none
	Timeout  time.Duration  // silence after which its values are overdue
	MinBytes int            // shorter payloads are refused
	MaxBytes int            // longer payloads are refused
	Fill     byte           // value of the bytes that no field writes
	Fields   []Field
	Tests    []Test // what its payloads hold always, in order of Start
	Each     *Group // repeated for each pack of a bank; nil if not
	Cells    *Group // repeated for each cell of the pack; nil if not
	Source   []Source
	Examples []Example // those that hold under the options chosen
	Drafted  bool      // there is no example, whatever is chosen
}

// CANMatch says which CAN ids are a message.
type CANMatch struct {
	ID           uint32
	Extended     bool   // a 29-bit id
	Ignored      uint32 // bits of an id that may be anything; they are written as they stand in ID
	AddressBit   int    // lowest bit of the pack's address inside the id
	AddressWidth int    // its width in bits; 0 if the id holds no address
	PGN          uint32 // parameter group number by SAE J1939, if HasPGN
	HasPGN       bool
	Transfer     Transfer
	Ask          *Question // what it answers; nil if it is sent unasked
}

// bits is how many bits the ids have.
func (c *CANMatch) bits() int {
	if c.Extended {
		return 29
	}
	return 11
}

// addressMask has the bits of an id that are the pack's address.
func (c *CANMatch) addressMask() uint32 { return (1<<c.AddressWidth - 1) << c.AddressBit }

// Mask has the bits that an id must share with ID.
func (c *CANMatch) Mask() uint32 {
	return (1<<c.bits() - 1) &^ c.Ignored &^ c.addressMask()
}

// Read says which registers are a message.
type Read struct {
	From  int // PDU address of the first register; unused if Model is set
	Count int // registers, without the groups
	Model int // SunSpec model id, whose block begins with id and length; 0 if the address is fixed
	// PackAt is the register that holds the pack's number, from 1, of a model that is
	// there once or more for each pack; 0 if the model speaks of the bank.
	PackAt int
}

// Group is a run of fields that is repeated for each pack of a bank, or for each
// cell of a pack.
type Group struct {
	At     int // where the first repetition begins, counted like a field's At
	Size   int // distance from one repetition to the next
	Fields []Field
}

// Base is how a field's bits make a value.
type Base uint8

// The bases of a field type.
const (
	Unsigned      Base = iota + 1
	Signed             // two's complement
	FlagBits           // each bit is on or off
	Pairs              // each pair of bits is on, off or not supported
	Text               // bytes of text
	BCD                // a decimal digit in each four bits
	SignMagnitude      // the top bit is the sign, the others are the magnitude
	Float              // IEEE 754, of 32 or 64 bits
)

// Type is what "as" says: a base and its width.
type Type struct {
	Base Base
	Bits int
	Name string // as written, "u16"
}

// Field is one value inside a message.
type Field struct {
	Place    *document.Node
	Unit     int // bytes that At counts: 1 in a frame, 2 in a block of registers
	At       int // byte of a frame or register of a block, from 0
	Bit      int // lowest bit within the bytes at At
	Type     Type
	Little   bool // least significant byte first
	LowFirst bool // least significant 16-bit word first

	Let     string      // name for later fields; "" if none
	Derive  *Derivation // what a field that is only named is written from; nil if nothing
	Rolling bool        // a counter of the payloads that are written
	Target  *Target
	Address bool      // the pack's address
	Equals  *Constant // what the field always is; nil if it varies

	Scale     pack.Decimal // value = raw x Scale + Offset; turned round for sign: discharge-positive
	Offset    pack.Decimal // turned round likewise
	ScaleBy   string       // field whose value is a further power of ten; "" if none
	SignGiven bool
	Missing   []Raws    // raw values that mean "not available"; writing uses the first, which is one value
	Range     *Range    // plausible values; nil if all are
	Values    []Meaning // of the raw values of a flag or a text; nil if they need none
	Date      DateForm  // how a number is a date; 0 if it is none
	Since     int       // year that a date counts from
	Alarms    []AlarmSlot
	On, Off   uint64   // raw states of an alarm bit or pair; Off is the code for no alarm too
	Optional  bool     // may lie beyond the end of a shorter frame
	Repeat    int      // elements of a list; 0 if the field is single
	RepeatBy  string   // field that counts the elements; "" if Repeat does
	Least     int      // elements that RepeatBy counts at least
	Most      int      // elements that RepeatBy can count at most
	Step      int      // distance between elements, counted like At
	Page      string   // field that says which part of the list this is; "" if it is all there
	PageFirst int      // value of that field for the first part
	Pages     int      // parts that it can tell apart
	After     string   // field that counts the list which At counts from the end of; "" if At counts from byte 0
	Behind    []Stride // the lists that move the field
	Followed  bool     // fields lie behind this list, where it has no further elements
	When      *When    // nil if the field is always there
	Write     *Constant
	Pad       byte // what a text that is shorter than its field is filled up with
	Finest    bool // of a power of ten: written as what loses no digit

	base   int      // byte that At counts from, where the lists before it are empty
	behind *Field   // the list named by After
	lists  []Stride // of a counted list: those up to its end
}

// Stride is how many bytes each element that a name counts moves what lies behind.
type Stride struct {
	Name        string
	Bytes       int
	Least, Most int // elements
}

// When says that a field is there only if a named one has one of some raw values.
type When struct {
	Name string
	Raws []uint64

	by *Field // the named one
}

// Target is the quantity a field is, or an element of a list quantity.
type Target struct {
	Quantity pack.Quantity
	Element  int // first element, from 0, of a list quantity
}

// Range is the plausible values of a field, both ends included, in the unit of
// its quantity; raw for a field that is only named.
type Range struct{ Low, High pack.Decimal }

// Meaning is what a raw value of a flag or a text means.
type Meaning struct {
	Raw   uint64
	Other bool   // any raw value that no meaning has; it is read only
	On    bool   // of a flag
	Text  []byte // of a text
}

// AlarmSlot is an alarm that a bit, a pair of bits or a code stands for. A slot
// can stand for several: reading gives the first, writing sets it for any.
type AlarmSlot struct {
	Slot  uint64 // place of the bit or the pair; or the code
	Other bool   // any code that no slot has; it is read only
	Alarm pack.Alarm
	First bool
}

// Constant is a raw value or a text: what a field always is, or what is written
// where the status knows nothing.
type Constant struct {
	Raw  uint64
	Text string
}

// Example is a payload and what it means: proof that the mapping is right.
type Example struct {
	Place   *document.Node
	Payload []byte // on a serial line the whole frame, as it stands on the line
	Asks    []byte // on a serial line: the question that gets this answer, nil if the example does not say
	Address int    // of the pack, for messages that carry one; -1 if the example gives none
	Gives   []Given
	Each    [][]Given // of a message with a group: what each pack's repetition gives
	Source  string
}

// Given is one key that an example gives.
type Given struct {
	Place  *document.Node // the value
	Key    string
	Target *Target      // nil if Key is a let or "alarms"
	Alarms []pack.Alarm // of the key "alarms"
	Texts  []string     // the values as they stand in a record: one, or one per element
}
