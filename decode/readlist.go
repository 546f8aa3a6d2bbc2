package decode

import (
	"packlink/decode/pack"
	"packlink/mapping"
)

// count is how many elements a field has in this payload, and whether that is
// known.
func (l *lets) count(op *mapping.Op) (n int, known bool) {
	if op.RepeatSlot < 0 {
		return op.Repetitions(), true
	}
	counted, known := l.get(op.RepeatSlot)
	return int(min(max(counted, 0), int64(op.Repetitions()))), known
}

// elements reads a list's elements: as many as the field repeats, or as a
// named field counts. What lies beyond the payload or the count is unknown.
func (r *reading) elements(op *mapping.Op, data []byte) {
	count, counted := r.lets.count(op)
	first, known := r.lets.first(op)
	if !counted || !known {
		return
	}
	if op.RepeatSlot >= 0 {
		r.status.Truncate(op.Target.Quantity, first+count)
	}
	for i := range count {
		offset := i * op.StepBytes
		if r.outside(op, offset) {
			continue
		}
		v := pack.Value{}
		if op.Need+offset <= len(data) {
			v = r.number(op, window(data, op.Start+offset))
		}
		if v.Trust == 0 && (op.RepeatSlot >= 0 || r.ofCell) {
			v = pack.Value{At: r.at, By: r.by, Trust: pack.Missing}
		}
		r.status.PutElement(op.Target.Quantity, first+i+r.cell, v)
	}
}

// flagOfCell reads the flag of one cell into a list.
func (r *reading) flagOfCell(op *mapping.Op, bits uint64) {
	var v pack.Value
	r.flag(op, bits, &v)
	r.status.PutElement(op.Target.Quantity, r.cell, v)
}

// flags writes one flag per bit into a list.
func (r *reading) flags(op *mapping.Op, bits uint64, known bool) {
	for i := range op.Type.Bits {
		var v pack.Value
		if known {
			v = pack.Value{Coef: int64(bits >> i & 1), At: r.at, By: r.by, Trust: pack.Known}
		}
		r.status.PutElement(op.Target.Quantity, op.Target.Element+i, v)
	}
}
