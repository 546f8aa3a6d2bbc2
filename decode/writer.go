package decode

import (
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// Writer writes the messages of one pack, one frame after another, and keeps
// what goes on from frame to frame: the rolling counters.
type Writer struct {
	Frozen  bool     // the counters stand still, as of a pack whose firmware hangs
	written []uint64 // payloads so far, by message
}

// NewWriter begins to write by a mapping; each rolling counter begins at 0.
func NewWriter(c *mapping.Compiled) *Writer {
	return &Writer{written: make([]uint64, len(c.Programs))}
}

// Frames emits the frames of a message that say what the status knows, from the
// address of the status: one payload for each part of a list that comes in parts,
// up to the last that the status has, else one. Each frame holds until emit
// returns. Values that an output must not show (see [pack.Status.Usable]) are
// written as "not available". An error of emit, a [*NotKnownError] or a
// [*NoRoomError] ends it; frames before it have been emitted then. The sequence
// counter of a fast packet is a rolling counter too.
func (w *Writer) Frames(p *mapping.Program, s *pack.Status, emit func(*transport.Frame) error) error {
	written := w.written[p.Index]
	err := payloads(p, s, &written, func(payload []byte) error {
		return Carry(p, s.Address, byte(written), payload, emit)
	})
	if !w.Frozen {
		w.written[p.Index] = written
	}
	return err
}

// Says tells whether a message would say something of the status: whether it has
// a value that is known and not overdue, or a permission that has become "not
// allowed".
func Says(p *mapping.Program, s *pack.Status) bool {
	for i := range p.Body.All {
		if says(&p.Body.All[i], s) {
			return true
		}
	}
	return false
}

func says(op *mapping.Op, s *pack.Status) bool {
	switch {
	case op.Known != 0:
		return s.Alarms.Known&op.Known != 0 && !s.AlarmsStale
	case op.Target == nil:
		return false
	case !op.Quantity.Row().Kind.List():
		_, usable := s.Usable(op.Quantity)
		return usable
	}
	return saysElement(op, s)
}

// saysElement tells whether one of the list's elements that the field holds is
// known.
func saysElement(op *mapping.Op, s *pack.Status) bool {
	elements := s.Elements(op.Quantity)
	first, end := op.Target.Element, endOf(op)
	for _, v := range elements[min(first, len(elements)):min(end, len(elements))] {
		if v.Trust == pack.Known {
			return true
		}
	}
	return false
}

// endOf is the element behind the last that a field of a list can hold.
func endOf(op *mapping.Op) int {
	if op.Kind == mapping.OpFlags {
		return op.Target.Element + op.Type.Bits
	}
	return op.Target.Element + op.Repetitions()*max(op.Pages, 1)
}
