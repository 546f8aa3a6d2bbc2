package mapping

import (
	"fmt"
	"math"
	"slices"

	"packlink/decode/pack"
)

// OpKind is what an operation does with its bits.
type OpKind uint8

// The kinds of operations.
const (
	OpNumber  OpKind = iota + 1 // a number of the status
	OpFlag                      // a flag of the status
	OpText                      // text from bytes
	OpDigits                    // text from a number's digits
	OpWord                      // text that a raw value stands for
	OpDate                      // text of a date
	OpAlarms                    // alarms from bits or pairs of bits
	OpCodes                     // alarms from codes
	OpFlags                     // a list of flags from bits
	OpLet                       // a named number
	OpElement                   // elements of a list
	OpAddress                   // the pack's address
	OpEquals                    // a constant
)

// Op is one field, ready to be run. Raw bits are taken from a window of eight
// bytes: (window >> Shift) & Mask, the window read with its last byte first
// unless Big.
type Op struct {
	*Field
	Kind        OpKind
	Quantity    pack.Quantity // of the target
	Unavailable []Raws        // raw values that mean "not available", ascending and apart
	Exp         int8          // value = (raw x Mul + Add) x 10^Exp
	Shift       uint8         // of element 0
	Extend      uint8         // bits above the field, for its sign; 0 if unsigned
	Big         bool
	SwapWords   bool
	Slot        int // index of the field's own name; -1 if it has none
	ScaleSlot   int // index of the name of a further power of ten; -1 if none
	RepeatSlot  int // index of the name that counts elements; -1 if none
	PageSlot    int // index of the name that says which part of a list this is; -1 if none
	WhenSlot    int // index of the name that the field depends on; -1 if none
	WhenValues  []int64
	Lists       []Lists // before the field, which move it; nil if there are none
	Start       int     // byte the window begins at, for element 0
	Need        int     // bytes the payload must have for element 0
	StepBytes   int
	Mask        uint64
	Mul, Add    int64
	Low, High   int64       // plausible (raw x Mul + Add), both included
	AlarmSlot   int         // which one of the message's fields that are alarms it is
	Known       uint64      // alarms the field can tell about
	Slots       uint64      // bits that hold alarms
	Quiet       uint64      // those bits when every alarm is off
	Continued   bool        // a longer text goes on in another field
	Piece       *pack.Piece // of a text in several fields; nil of a whole text
	Refines     bool        // an earlier field of the message gives the same quantity
}

// Lists are counted lists that move what lies behind them.
type Lists struct {
	Slot  int // index of the name that counts them
	Bytes int // for each element
}

// Moves tells whether the field lies somewhere else in each payload, or is not
// always there.
func (op *Op) Moves() bool { return op.Lists != nil || op.WhenSlot >= 0 }

// setAlarms notes which bits hold alarms, and how they look when all are off.
func (op *Op) setAlarms() {
	width := uint64(1)
	if op.Type.Base == Pairs {
		width = 2
	}
	for _, a := range op.Alarms {
		op.Known |= a.Alarm.Bit()
		if op.Kind == OpCodes {
			continue
		}
		op.Slots |= (1<<width - 1) << (a.Slot * width)
		op.Quiet |= op.Off << (a.Slot * width)
	}
}

func opKind(f *Field) OpKind {
	switch {
	case f.Type.Base == Text:
		return OpText
	case f.Address:
		return OpAddress
	case f.Equals != nil:
		return OpEquals
	case len(f.Alarms) > 0 && f.Type.Base == Unsigned:
		return OpCodes
	case f.Target == nil && len(f.Alarms) > 0:
		return OpAlarms
	case f.Target == nil:
		return OpLet
	}
	switch f.Target.Quantity.Row().Kind {
	case pack.Flag:
		return OpFlag
	case pack.Flags:
		if f.Type.Base == Unsigned { // of one cell
			return OpFlag
		}
		return OpFlags
	case pack.Numbers:
		return OpElement
	case pack.Word:
		return wordKind(f)
	}
	return OpNumber
}

// wordKind is how a number becomes text.
func wordKind(f *Field) OpKind {
	switch {
	case f.Date != 0:
		return OpDate
	case len(f.Values) > 0:
		return OpWord
	}
	return OpDigits
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
	number := op.Kind == OpNumber || op.Kind == OpElement || op.Kind == OpDigits || op.Derive.number()
	number = number && op.Type.Base != Float
	if number && (slices.Contains(fits[:], false) || !op.fits()) {
		return fmt.Errorf("%s times %s plus %s, in steps of %s, does not fit 62 bits: give scale, offset and range fewer digits",
			op.Type.Name, op.Scale, op.Offset, pack.Decimal{Coef: 1, Exp: op.Exp})
	}
	return nil
}
