package mapping

import (
	"math"

	"packlink/decode/pack"
)

// NumberOp is the operation of a plain number, or of a flag that is a plain bit,
// in one cache line: most fields of most protocols, and so the fast path of
// reading.
type NumberOp struct {
	Mask      uint64
	Mul, Add  int64
	Low, High int64
	Missing   uint64 // first raw value that means "not available"; beyond Mask if there is none
	Beside    uint32 // raw values behind Missing that mean so too
	Start     uint16 // byte the window begins at
	Need      uint16 // bytes the payload must have
	Shift     uint8
	Extend    uint8
	Quantity  pack.Quantity
	Exp       int8
	Big       bool
	Refines   bool // keeps what an earlier field gave if this one gives nothing
}

// number is the operation as a plain number, and whether it is one: a single
// value that no named field changes, whose "not available" values follow one another.
func (op *Op) number() (n NumberOp, plain bool) {
	const most = 1<<16 - 1
	plain = op.Kind == OpNumber || op.Kind == OpFlag && len(op.Values) == 0 && !op.Quantity.Row().Kind.List()
	plain = plain && (op.Type.Base == Unsigned || op.Type.Base == Signed)
	if !plain || op.ScaleSlot >= 0 || op.Moves() || op.SwapWords || len(op.Unavailable) > 1 || op.Need > most {
		return n, false
	}
	n = NumberOp{
		Mask: op.Mask, Mul: op.Mul, Add: op.Add, Low: op.Low, High: op.High,
		Start: uint16(op.Start), Need: uint16(op.Need), Shift: op.Shift, Extend: op.Extend,
		Quantity: op.Quantity, Exp: op.Exp, Big: op.Big, Refines: op.Refines,
	}
	switch {
	case len(op.Unavailable) == 1 && op.Unavailable[0].Last-op.Unavailable[0].First > math.MaxUint32:
		return n, false
	case len(op.Unavailable) == 1:
		n.Missing, n.Beside = op.Unavailable[0].First, uint32(op.Unavailable[0].Last-op.Unavailable[0].First)
	case op.Mask == 1<<64-1:
		return n, false
	default:
		n.Missing = op.Mask + 1
	}
	return n, true
}
