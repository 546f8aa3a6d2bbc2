package mapping

import (
	"math"
	"math/bits"
	"slices"
)

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
			return op.Target != nil && earlier.Target != nil && *earlier.Target == *op.Target && !op.excludes(earlier.Field)
		})
		steps.All = append(steps.All, op)
		switch n, plain := op.number(); {
		case op.Kind == OpAddress || op.Kind == OpEquals: // read before the status is known
		case plain:
			steps.Numbers = append(steps.Numbers, n)
		default:
			steps.Rest = append(steps.Rest, op)
		}
	}
	return named, steps, nil
}

const windowBytes = 8

// compileField makes a field's operation. whole says that the payload fits one
// window, which then serves all its fields.
func compileField(f *Field, lets map[string]int, whole bool) (Op, error) {
	start, size := f.StartByte(0), f.ContainerBytes()
	op := Op{
		Field: f, Kind: opKind(f), Slot: -1, ScaleSlot: -1, RepeatSlot: -1, PageSlot: -1, WhenSlot: -1,
		Start: start, Need: start + size, StepBytes: f.Unit * f.Step,
		Big:       !f.Little,
		SwapWords: f.swapsWords(),
		Mask:      math.MaxUint64 >> (64 - min(f.Type.Bits, 64)),
	}
	if f.Target != nil {
		op.Quantity = f.Target.Quantity
	}
	op.refer(lets)
	if op.Kind == OpText {
		return op, nil
	}
	before := 0
	if whole && !op.Moves() {
		before, op.Start = start, 0
	}
	op.Shift = uint8(8*before + f.Bit)
	if op.Big {
		op.Shift = uint8(8*(windowBytes-before-size) + f.Bit)
	}
	if f.Type.Base == Signed {
		op.Extend = uint8(64 - f.Type.Bits)
	}
	op.setAlarms()
	op.Unavailable = apart(f.Missing)
	return op, op.setScale()
}

// refer finds the names that the field refers to.
func (op *Op) refer(lets map[string]int) {
	for _, ref := range []struct {
		name string
		to   *int
	}{{op.Let, &op.Slot}, {op.ScaleBy, &op.ScaleSlot}, {op.RepeatBy, &op.RepeatSlot}, {op.Page, &op.PageSlot}} {
		if i, ok := lets[ref.name]; ok {
			*ref.to = i
		}
	}
	if op.When != nil && op.When.by != nil {
		op.WhenSlot = lets[op.When.Name]
		for _, raw := range op.When.Raws {
			op.WhenValues = append(op.WhenValues, op.When.by.Whole(raw))
		}
	}
	for _, s := range op.Behind {
		op.Lists = append(op.Lists, Lists{lets[s.Name], s.Bytes})
	}
}

// fits tells whether the greatest raw value times Mul, and Add, each stay within
// 62 bits, so that their sum stays within 63.
func (op *Op) fits() bool {
	const most = math.MaxInt64 / 2
	greatest := op.Mask
	switch op.Type.Base {
	case Signed, SignMagnitude:
		greatest = op.Mask/2 + 1
	case BCD:
		greatest = uint64(math.Pow10(op.Type.Bits/4)) - 1
	}
	high, low := bits.Mul64(greatest, uint64(max(op.Mul, -op.Mul)))
	return high == 0 && low <= most && max(op.Add, -op.Add) <= most
}
