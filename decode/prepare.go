package decode

import (
	"slices"

	"packlink/mapping"
)

// reach is the byte after the last that a field is written to, of a payload of at
// most so many bytes. Of a list whose end lies beyond it, it is that of the last
// element which does not; 0 if there is none.
func (w *writing) reach(op *mapping.Op, most int) int {
	if !w.lets.meets(op) {
		return 0
	}
	begin := w.lets.begin(op)
	count, _ := w.lets.count(op)
	if op.Kind == mapping.OpElement && op.RepeatSlot < 0 {
		first, _ := w.lets.first(op)
		count = min(count, len(w.status.Elements(op.Quantity))-first)
	}
	for i := count - 1; i >= 0; i-- {
		if end := begin + op.Need + i*op.StepBytes; end <= most {
			return end
		}
	}
	return 0
}

// prepare gives the named fields that reading did not give their values: what
// known fields depend on has a value at which they are there, a count is the
// elements that the status has, a part is the first, and others are their
// constants.
func (w *writing) prepare(p *mapping.Program) {
	for i := range p.Body.All {
		if op := &p.Body.All[i]; op.WhenSlot >= 0 && w.knows(op) {
			w.require(p, op)
		}
	}
	for i := range p.Body.All {
		op := &p.Body.All[i]
		if op.PageSlot >= 0 {
			w.name(op.PageSlot, int64(op.PageFirst))
		}
		if op.RepeatSlot >= 0 && op.Target != nil {
			w.name(op.RepeatSlot, int64(max(len(w.status.Elements(op.Target.Quantity))-op.Target.Element, 0)))
		}
	}
	for i := range p.Body.All {
		if op := &p.Body.All[i]; op.RepeatSlot >= 0 && op.Kind == mapping.OpCodes {
			w.nameCodes(op)
		}
	}
	for i := range p.Named {
		if op := &p.Named[i]; op.Write != nil && op.Derive == nil && !missing(op, op.Write.Raw) {
			n, _ := whole(op, op.Write.Raw)
			w.name(op.Slot, n)
		}
	}
}

// require gives what a field depends on, and what that depends on, the value at
// which the field is there.
func (w *writing) require(p *mapping.Program, op *mapping.Op) {
	for op.WhenSlot >= 0 {
		slot := op.WhenSlot
		w.name(slot, op.WhenValues[0])
		i := slices.IndexFunc(p.Named, func(named mapping.Op) bool { return named.Slot == slot })
		if i < 0 {
			return
		}
		op = &p.Named[i]
	}
}

func (w *writing) name(slot int, value int64) {
	if w.lets.known>>slot&1 == 0 {
		w.lets.values[slot], w.lets.known = value, w.lets.known|1<<slot
	}
}

// knows tells whether the status has a value for a field.
func (w *writing) knows(op *mapping.Op) bool {
	switch op.Kind {
	case mapping.OpNumber, mapping.OpFlag:
		_, known := w.status.Usable(op.Target.Quantity)
		return known
	case mapping.OpAlarms, mapping.OpCodes:
		return w.status.Alarms.Known&op.Known != 0
	case mapping.OpText, mapping.OpDigits, mapping.OpWord, mapping.OpDate:
		return op.Target != nil && w.usableText(op.Target.Quantity) != ""
	}
	return op.Write != nil || op.Rolling || op.Target != nil && w.status.Has(op.Target.Quantity)
}
