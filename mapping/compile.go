package mapping

import (
	"fmt"
	"math"
	"math/bits"
	"slices"

	"packlink/decode/pack"
)

// Compiled is a mapping as tables: a message by its id, and for each message
// small operations over its bytes.
type Compiled struct {
	*Mapping
	Programs []Program // one per message, in the same order

	short [1 << 11]*Program // program of each 11-bit id, nil if none
	long  []longIDs
}

// longIDs are the programs of the 29-bit ids that share a mask.
type longIDs struct {
	mask uint32
	ids  map[uint32]*Program
}

// Program is what is done with the bytes of one message.
type Program struct {
	*Message
	Least, Most int // bytes of a payload: MinBytes and MaxBytes
	Index       int
	Named       []Op  // numbers that are named: other fields may depend on them
	Needed      []Op  // those among them that other fields depend on, or that have a range
	Body        Steps // fields that are written to the status
	Each        Steps // fields of one repetition of the message's group
	Alarms      bool  // some field carries alarms
	OfPresent   bool  // some field tells how the pack is now
	shift       uint8
	mask        uint32
}

// Steps are the operations of a run of fields. Reading takes Numbers, then
// Rest; writing takes All.
type Steps struct {
	All     []Op
	Numbers []NumberOp // the plain numbers among them
	Rest    []Op       // the others
}

// OpKind is what an operation does with its bits.
type OpKind uint8

// The kinds of operations.
const (
	OpNumber  OpKind = iota + 1 // a number of the status
	OpFlag                      // a flag of the status
	OpText                      // text from bytes
	OpDigits                    // text from a number's digits
	OpAlarms                    // alarms from bits or pairs of bits
	OpFlags                     // a list of flags from bits
	OpLet                       // a named number
	OpElement                   // elements of a list
)

// Op is one field, ready to be run. Raw bits are taken from a window of eight
// bytes: (window >> Shift) & Mask, the window read with its last byte first
// unless Big.
type Op struct {
	*Field
	Kind        OpKind
	Quantity    pack.Quantity // of the target
	Unavailable []uint64      // raw values that mean "not available"
	Exp         int8          // value = (raw x Mul + Add) x 10^Exp
	Shift       uint8         // of element 0
	Extend      uint8         // bits above the field, for its sign; 0 if unsigned
	Big         bool
	SwapWords   bool
	Slot        int // index of the field's own name; -1 if it has none
	ScaleSlot   int // index of the name of a further power of ten; -1 if none
	RepeatSlot  int // index of the name that counts elements; -1 if none
	Start       int // byte the window begins at, for element 0
	Need        int // bytes the payload must have for element 0
	StepBytes   int
	Mask        uint64
	Mul, Add    int64
	Low, High   int64  // plausible (raw x Mul + Add), both included
	Known       uint64 // alarms the field can tell about
	Slots       uint64 // bits that hold alarms
	Quiet       uint64 // those bits when every alarm is off
	Continued   bool   // a longer text goes on in another field
	Refines     bool   // an earlier field of the message gives the same quantity
}

// Compile makes a mapping's tables. A mapping that [Load] accepted compiles.
func Compile(m *Mapping) (*Compiled, error) {
	c := &Compiled{Mapping: m, Programs: make([]Program, 0, len(m.Messages))}
	pieces := textPieces(m)
	for i := range m.Messages {
		p, err := compileMessage(i, &m.Messages[i], pieces)
		if err != nil {
			return nil, fmt.Errorf("mapping %s: message %q: %w", m.Name, m.Messages[i].Name, err)
		}
		c.Programs = append(c.Programs, p)
		c.enter(&c.Programs[i])
	}
	return c, nil
}

func compileMessage(index int, m *Message, pieces map[Target]bool) (Program, error) {
	p := Program{Message: m, Index: index, Least: m.MinBytes, Most: m.MaxBytes}
	if m.CAN != nil {
		p.shift, p.mask = uint8(m.CAN.AddressBit), 1<<m.CAN.AddressWidth-1
	}
	lets := make(map[string]int)
	for i := range m.Fields {
		if name := m.Fields[i].Let; name != "" {
			lets[name] = len(lets)
		}
	}
	whole := m.MaxBytes <= windowBytes && m.CAN != nil
	named, body, err := compileFields(m.Fields, lets, whole)
	if err != nil {
		return p, err
	}
	p.Named, p.Body = named, body
	if m.Each != nil {
		if p.Each, err = compileGroup(m.Each, lets); err != nil {
			return p, err
		}
	}
	p.Needed = slices.DeleteFunc(slices.Clone(p.Named), func(op Op) bool { return op.Range == nil && !m.refersTo(op.Let) })
	p.Alarms = slices.ContainsFunc(p.Body.All, func(op Op) bool { return op.Kind == OpAlarms })
	p.OfPresent = slices.ContainsFunc(p.Body.All, func(op Op) bool { return op.Kind == OpAlarms || op.Target != nil && op.Quantity.OfPresent() })
	for i := range p.Body.All {
		if op := &p.Body.All[i]; op.Kind == OpText && op.Target != nil {
			op.Continued = pieces[Target{op.Quantity, op.Target.Element + op.Type.Bits/8}]
		}
	}
	return p, nil
}

// refersTo tells whether some field depends on the field of a name.
func (m *Message) refersTo(name string) bool {
	refers := func(f Field) bool { return f.ScaleBy == name || f.RepeatBy == name }
	return slices.ContainsFunc(m.Fields, refers) || m.Each != nil && slices.ContainsFunc(m.Each.Fields, refers)
}

// compileGroup makes the operations of a group. Its named fields are there many
// times, so no field can depend on them.
func compileGroup(g *Group, lets map[string]int) (Steps, error) {
	named, steps, err := compileFields(g.Fields, lets, false)
	for _, op := range named {
		op.Slot = -1
		steps.All = append(steps.All, op)
	}
	return steps, err
}

// compileFields makes the operations of a run of fields: those that are only
// named, and those that are written to the status.
func compileFields(fields []Field, lets map[string]int, whole bool) (named []Op, steps Steps, err error) {
	for i := range fields {
		op, err := compileField(&fields[i], lets, whole)
		if err != nil {
			return nil, steps, err
		}
		if op.Kind == OpLet {
			named = append(named, op)
			continue
		}
		op.Refines = slices.ContainsFunc(steps.All, func(earlier Op) bool {
			return op.Target != nil && earlier.Target != nil && *earlier.Target == *op.Target
		})
		steps.All = append(steps.All, op)
		if n, plain := op.number(); plain {
			steps.Numbers = append(steps.Numbers, n)
		} else {
			steps.Rest = append(steps.Rest, op)
		}
	}
	return named, steps, nil
}

// textPieces are the places at which fields of the mapping write texts.
func textPieces(m *Mapping) map[Target]bool {
	pieces := make(map[Target]bool)
	for _, msg := range m.Messages {
		for _, f := range msg.Fields {
			if f.Target != nil && f.Type.Base == Text {
				pieces[*f.Target] = true
			}
		}
	}
	return pieces
}

const windowBytes = 8

// compileField makes a field's operation. whole says that the payload fits one
// window, which then serves all its fields.
func compileField(f *Field, lets map[string]int, whole bool) (Op, error) {
	start, size := f.StartByte(0), f.ContainerBytes()
	op := Op{
		Field: f, Kind: opKind(f), Slot: -1, ScaleSlot: -1, RepeatSlot: -1,
		Start: start, Need: start + size, StepBytes: f.Unit * f.Step,
		Big:       !f.Little,
		SwapWords: f.swapsWords(),
		Mask:      math.MaxUint64 >> (64 - min(f.Type.Bits, 64)),
	}
	if f.Target != nil {
		op.Quantity = f.Target.Quantity
	}
	if op.Kind == OpText {
		return op, nil
	}
	before := 0
	if whole {
		before, op.Start = start, 0
	}
	op.Shift = uint8(8*before + f.Bit)
	if op.Big {
		op.Shift = uint8(8*(windowBytes-before-size) + f.Bit)
	}
	if f.Type.Base == Signed {
		op.Extend = uint8(64 - f.Type.Bits)
	}
	for _, ref := range []struct {
		name string
		to   *int
	}{{f.Let, &op.Slot}, {f.ScaleBy, &op.ScaleSlot}, {f.RepeatBy, &op.RepeatSlot}} {
		if i, ok := lets[ref.name]; ok {
			*ref.to = i
		}
	}
	op.setAlarms()
	op.Unavailable = f.Missing
	return op, op.setScale()
}

// setAlarms notes which bits hold alarms, and how they look when all are off.
func (op *Op) setAlarms() {
	width := 1
	if op.Type.Base == Pairs {
		width = 2
	}
	for _, a := range op.Alarms {
		op.Known |= a.Alarm.Bit()
		op.Slots |= (1<<width - 1) << (a.Slot * width)
		op.Quiet |= op.Off << (a.Slot * width)
	}
}

func opKind(f *Field) OpKind {
	switch {
	case f.Type.Base == Text:
		return OpText
	case f.Target == nil && len(f.Alarms) > 0:
		return OpAlarms
	case f.Target == nil:
		return OpLet
	}
	switch f.Target.Quantity.Row().Kind {
	case pack.Flag:
		return OpFlag
	case pack.Flags:
		return OpFlags
	case pack.Numbers:
		return OpElement
	case pack.Word:
		return OpDigits
	}
	return OpNumber
}

// setScale brings scale, offset and range to one exponent, so that a value is
// a multiplication and an addition of whole numbers, neither beyond 62 bits.
func (op *Op) setScale() error {
	op.Exp, op.Low, op.High = op.Scale.Exp, math.MinInt64, math.MaxInt64
	if op.Offset.Coef != 0 {
		op.Exp = min(op.Exp, op.Offset.Exp)
	}
	if op.Range != nil {
		op.Exp = min(op.Exp, op.Range.Low.Exp, op.Range.High.Exp)
	}
	fits := [4]bool{2: true, 3: true}
	op.Mul, fits[0] = op.Scale.Rescale(op.Exp)
	op.Add, fits[1] = op.Offset.Rescale(op.Exp)
	if op.Range != nil {
		op.Low, fits[2] = op.Range.Low.Rescale(op.Exp)
		op.High, fits[3] = op.Range.High.Rescale(op.Exp)
	}
	number := op.Kind == OpNumber || op.Kind == OpElement || op.Kind == OpDigits
	if number && (slices.Contains(fits[:], false) || !op.fits()) {
		return fmt.Errorf("%s times %s plus %s, in steps of %s, does not fit 62 bits: give scale, offset and range fewer digits",
			op.Type.Name, op.Scale, op.Offset, pack.Decimal{Coef: 1, Exp: op.Exp})
	}
	return nil
}

// fits tells whether the greatest raw value times Mul, and Add, each stay within
// 62 bits, so that their sum stays within 63.
func (op *Op) fits() bool {
	const most = math.MaxInt64 / 2
	greatest := op.Mask
	switch op.Type.Base {
	case Signed:
		greatest = op.Mask/2 + 1
	case BCD:
		greatest = uint64(math.Pow10(op.Type.Bits/4)) - 1
	}
	high, low := bits.Mul64(greatest, uint64(max(op.Mul, -op.Mul)))
	return high == 0 && low <= most && max(op.Add, -op.Add) <= most
}

// enter makes a message findable by its id.
func (c *Compiled) enter(p *Program) {
	match := p.CAN
	switch {
	case match == nil:
	case match.Extended:
		c.enterLong(match, p)
	default:
		for address := range uint32(1) << match.AddressWidth {
			c.short[match.ID|address<<match.AddressBit] = p
		}
	}
}

func (c *Compiled) enterLong(match *CANMatch, p *Program) {
	for i := range c.long {
		if c.long[i].mask == match.Mask() {
			c.long[i].ids[match.ID&match.Mask()] = p
			return
		}
	}
	c.long = append(c.long, longIDs{match.Mask(), map[uint32]*Program{match.ID & match.Mask(): p}})
}

// mostLongID is the greatest CAN id (ISO 11898-1:2015, from memory).
const mostLongID = 1<<29 - 1

// FindCAN is the program of the frames with an id, nil if there is none.
func (c *Compiled) FindCAN(id uint32, extended bool) *Program {
	if !extended {
		if id < uint32(len(c.short)) {
			return c.short[id]
		}
		return nil
	}
	if id > mostLongID {
		return nil
	}
	for i := range c.long {
		if p := c.long[i].ids[id&c.long[i].mask]; p != nil {
			return p
		}
	}
	return nil
}

// Address is the pack's address in an id, and whether the message has one.
func (p *Program) Address(id uint32) (address uint32, has bool) {
	return id >> p.shift & p.mask, p.mask != 0
}

// ID is the id of the message for a pack's address.
func (p *Program) ID(address uint32) uint32 {
	return p.CAN.ID | address&p.mask<<p.shift
}
