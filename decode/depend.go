package decode

import (
	"math"
	"slices"

	"packlink/decode/pack"
	"packlink/mapping"
)

// part is the part of a payload that a field counts its place from: what lies
// behind the lists before it; nothing, if how many elements they have is not
// known. The field is not there at all if what it depends on has another value.
func (l *lets) part(op *mapping.Op, data []byte) (part []byte, there bool) {
	if !op.Moves() {
		return data, true
	}
	if !l.meets(op) {
		return nil, false
	}
	return data[min(l.begin(op), len(data)):], true
}

// meets tells whether what a field depends on has a value at which it is there.
func (l *lets) meets(op *mapping.Op) bool {
	if op.WhenSlot < 0 {
		return true
	}
	value, known := l.get(op.WhenSlot)
	return known && slices.Contains(op.WhenValues, value)
}

// begin is the byte that a field counts its place from, beyond any payload if
// that is not known.
func (l *lets) begin(op *mapping.Op) (byte int) {
	for _, lists := range op.Lists {
		count, known := l.get(lists.Slot)
		if !known {
			return math.MaxInt32
		}
		byte += int(min(max(count, 0), pack.MaxCells)) * lists.Bytes
	}
	return byte
}

// lacks tells whether a payload ends before what its own counts promise.
func (l *lets) lacks(ops []mapping.Op, data []byte) bool {
	for i := range ops {
		op := &ops[i]
		begin := l.begin(op)
		count, known := l.count(op)
		if known && count > 0 && begin < math.MaxInt32 && l.meets(op) && begin+op.Need+(count-1)*op.StepBytes > len(data) {
			return true
		}
	}
	return false
}

// first is the number, from 0, of the first element that a payload has of a list,
// and whether it is known.
func (l *lets) first(op *mapping.Op) (element int, known bool) {
	if op.PageSlot < 0 {
		return op.Target.Element, true
	}
	page, known := l.get(op.PageSlot)
	page = min(max(page-int64(op.PageFirst), 0), int64(op.Pages))
	return op.Target.Element + int(page)*op.Repetitions(), known
}
