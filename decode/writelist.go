package decode

import (
	"packlink/decode/pack"
	"packlink/mapping"
)

func flagsRaw(op *mapping.Op, s *pack.Status) (r uint64, err error) {
	elements := s.Elements(op.Target.Quantity)
	first := op.Target.Element
	if first >= len(elements) || s.Stale(op.Target.Quantity) {
		return unknownRaw(op)
	}
	for i, v := range elements[first:min(first+op.Type.Bits, len(elements))] {
		if v.Trust&pack.Known == 0 {
			return unknownRaw(op)
		}
		r |= uint64(v.Coef) << i
	}
	return bitsRaw(op, r)
}

func (w *writing) elements(op *mapping.Op, data []byte) error {
	first, _ := w.lets.first(op)
	count, _ := w.lets.count(op)
	for i := range count {
		offset := i * op.StepBytes
		if op.Need+offset > len(data) {
			return nil
		}
		v := w.element(op.Target.Quantity, first+i+w.cell)
		r, err := w.number(op, v.Decimal(), v.Trust == pack.Known)
		if err := w.put(op, data, offset, r, err); err != nil {
			return err
		}
	}
	w.fill(op, data, count)
	return nil
}

// fill writes elements that are not counted as "not available", if the field can
// say so and nothing else takes their place.
func (w *writing) fill(op *mapping.Op, data []byte, count int) {
	if op.Followed {
		return
	}
	r, err := unknownRaw(op)
	for i := count; i < op.Repetitions() && err == nil; i++ {
		if offset := i * op.StepBytes; op.Need+offset <= len(data) {
			place(op, data, offset, r)
		}
	}
}
