package decode

import (
	"slices"

	"packlink/decode/pack"
	"packlink/mapping"
)

// said is what a field said of alarms, when, and in which message.
type said struct {
	set pack.AlarmSet
	at  int64
	by  uint16
}

// merged is what fields said of alarms together.
func merged(all []said) (set pack.AlarmSet) {
	for i := range all {
		set = set.Merge(all[i].set)
	}
	return set
}

// say keeps what a field says of alarms.
func (r *reading) say(op *mapping.Op, set pack.AlarmSet) {
	r.alarms[op.AlarmSlot] = said{set, r.at, r.by}
}

// readAlarms reads alarms from bits or pairs of bits. A pair that is neither
// on nor off tells nothing.
func readAlarms(op *mapping.Op, bits uint64) (set pack.AlarmSet) {
	if missing(op, bits) {
		return set
	}
	if bits&op.Slots == op.Quiet {
		set.Known = op.Known
		return set
	}
	width, mask := 1, uint64(1)
	if op.Type.Base == mapping.Pairs {
		width, mask = 2, 3
	}
	for _, slot := range op.Alarms {
		switch state := bits >> (slot.Slot * uint64(width)) & mask; state {
		case op.On:
			if slot.First {
				set.Set(slot.Alarm, true)
			}
		case op.Off:
			if active, _ := set.State(slot.Alarm); !active {
				set.Set(slot.Alarm, false)
			}
		}
	}
	return set
}

// codes reads alarms from codes, one for each element. Of a block of registers
// the elements that are known count.
func (r *reading) codes(op *mapping.Op, data []byte) (set pack.AlarmSet) {
	count, known := r.lets.count(op)
	for i := range count {
		offset := i * op.StepBytes
		if known && op.Need+offset <= len(data) && r.block.has(op.Start+offset, op.Need+offset) {
			set = set.Merge(codeMeans(op, raw(op, window(data, op.Start+offset))))
		}
	}
	return set
}

// codeMeans is what one code says of alarms: that one is active and the others
// are not; nothing, if the code has no meaning.
func codeMeans(op *mapping.Op, code uint64) (set pack.AlarmSet) {
	if code == op.Off {
		return pack.AlarmSet{Known: op.Known}
	}
	if missing(op, code) {
		return set
	}
	var other pack.AlarmSet
	for _, slot := range op.Alarms {
		switch active := (pack.AlarmSet{Active: slot.Alarm.Bit(), Known: op.Known}); {
		case !slot.First:
		case slot.Other:
			other = active
		case slot.Slot == code:
			return active
		}
	}
	return other
}

// alarmsRaw is the bits or pairs of alarms. An alarm of unknown state is
// neither on nor off; in a plain bit, which cannot say so, it is off.
func alarmsRaw(op *mapping.Op, s *pack.Status) (r uint64, err error) {
	if s.Alarms.Known&op.Known == 0 || s.AlarmsStale {
		return unknownRaw(op)
	}
	var on, off uint64 // bit i for slot i
	for _, slot := range op.Alarms {
		active, known := s.Alarms.State(slot.Alarm)
		switch {
		case active:
			on |= 1 << slot.Slot
		case known:
			off |= 1 << slot.Slot
		}
	}
	return bitsRaw(op, spread(op, on, op.On)|spread(op, off&^on, op.Off))
}

// writeCodes writes one code for each element: that of an active alarm to the
// element it is about, as far as the status tells. Where one element is all there
// is for several alarms, the most serious is written.
func (w *writing) writeCodes(op *mapping.Op, data []byte) error {
	count, _ := w.lets.count(op)
	var codes [pack.MaxCells]uint64
	none, unknown := op.Off, error(nil)
	if w.status.Alarms.Known&op.Known == 0 || w.status.AlarmsStale {
		none, unknown = unknownRaw(op)
	}
	for i := range count {
		codes[i] = none
	}
	if none == op.Off && unknown == nil {
		w.chooseCodes(op, codes[:count])
	}
	original, _ := w.lets.part(op, w.original)
	keepOthers(op, codes[:count], original)
	for i := range count {
		offset := i * op.StepBytes
		if op.Need+offset > len(data) {
			break
		}
		if err := w.put(op, data, offset, codes[i], unknown); err != nil {
			return err
		}
	}
	w.fill(op, data, count)
	return nil
}

// chooseCodes puts the codes of the active alarms into their elements, those of
// protections first.
func (w *writing) chooseCodes(op *mapping.Op, codes []uint64) {
	var written pack.AlarmSet
	for _, level := range []pack.AlarmLevel{pack.Protection, pack.Warning} {
		for _, slot := range op.Alarms {
			active, _ := w.status.Alarms.State(slot.Alarm)
			again, _ := written.State(slot.Alarm)
			if slot.Other || slot.Alarm.Level != level || !active || again || slices.Contains(codes, slot.Slot) {
				continue
			}
			at := w.about(slot.Alarm, len(codes))
			if at < len(codes) && codes[at] != op.Off {
				at = slices.Index(codes, op.Off)
			}
			if at >= 0 && at < len(codes) {
				codes[at] = slot.Slot
				written.Set(slot.Alarm, true)
			}
		}
	}
}

// about is the element, from 0, that an alarm is about: the highest or lowest
// one of the list that its kind speaks of, else the first.
func (w *writing) about(a pack.Alarm, count int) int {
	q, highest, has := a.Kind.Extreme()
	if !has {
		return 0
	}
	best, elements := -1, w.status.Elements(q)
	for i, v := range elements[:min(count, len(elements))] {
		if v.Trust != pack.Known {
			continue
		}
		if best < 0 || (v.Decimal().Cmp(elements[best].Decimal()) > 0) == highest && v.Decimal() != elements[best].Decimal() {
			best = i
		}
	}
	return max(best, 0)
}

// keepOthers puts codes back that a payload has and that stand for "other": such
// a code is only read.
func keepOthers(op *mapping.Op, codes []uint64, original []byte) {
	if !slices.ContainsFunc(op.Alarms, func(slot mapping.AlarmSlot) bool { return slot.Other }) {
		return
	}
	for i := range codes {
		if offset := i * op.StepBytes; op.Need+offset <= len(original) {
			code := raw(op, window(original, op.Start+offset))
			listed := slices.ContainsFunc(op.Alarms, func(slot mapping.AlarmSlot) bool { return slot.Slot == code && !slot.Other })
			if !listed && code != op.Off && !missing(op, code) {
				codes[i] = code
			}
		}
	}
}

// nameCodes gives the name that counts codes, and nothing else, its value: as many as
// the list that the codes' alarms are about, at least one.
func (w *writing) nameCodes(op *mapping.Op) {
	for _, slot := range op.Alarms {
		if q, _, has := slot.Alarm.Kind.Extreme(); has {
			w.name(op.RepeatSlot, int64(max(len(w.status.Elements(q)), 1)))
			return
		}
	}
}
