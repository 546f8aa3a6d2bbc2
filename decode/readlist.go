package decode

import (
	"packlink/decode/pack"
	"packlink/mapping"
)

// elements reads a list's elements: as many as the field repeats, or as a
// named field counts. What lies beyond the payload or the count is unknown.
func (r *reading) elements(op *mapping.Op, data []byte) {
	count := int64(op.Repetitions())
	if op.RepeatSlot >= 0 {
		counted, known := r.lets.get(op.RepeatSlot)
		if !known {
			return
		}
		count = min(max(counted, 0), count)
		r.status.Truncate(op.Target.Quantity, op.Target.Element+int(count))
	}
	for i := range int(count) {
		offset := i * op.StepBytes
		if r.outside(op, offset) {
			continue
		}
		v := pack.Value{}
		if op.Need+offset <= len(data) {
			v = r.number(op, window(data, op.Start+offset))
		}
		if v.Trust == 0 && op.RepeatSlot >= 0 {
			v = pack.Value{At: r.at, By: r.by, Trust: pack.Missing}
		}
		r.status.PutElement(op.Target.Quantity, op.Target.Element+i, v)
	}
}

// flags reads one flag per bit into a list.
func (r *reading) flags(op *mapping.Op, bits uint64) {
	unknown := missing(op, bits)
	for i := range op.Type.Bits {
		v := pack.Value{Coef: int64(bits >> i & 1), At: r.at, By: r.by, Trust: pack.Known}
		if unknown {
			v = pack.Value{}
		}
		r.status.PutElement(op.Target.Quantity, op.Target.Element+i, v)
	}
}

// readAlarms reads alarms from bits or pairs of bits. A pair that is neither
// on nor off tells nothing.
func readAlarms(op *mapping.Op, bits uint64, alarms *pack.AlarmSet) {
	if missing(op, bits) {
		return
	}
	if bits&op.Slots == op.Quiet {
		alarms.Known |= op.Known
		return
	}
	width, mask := 1, uint64(1)
	if op.Type.Base == mapping.Pairs {
		width, mask = 2, 3
	}
	for _, slot := range op.Alarms {
		switch state := bits >> (slot.Slot * width) & mask; state {
		case op.On:
			if slot.First {
				alarms.Set(slot.Alarm, true)
			}
		case op.Off:
			if active, _ := alarms.State(slot.Alarm); !active {
				alarms.Set(slot.Alarm, false)
			}
		}
	}
}
