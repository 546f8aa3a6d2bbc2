package decode

import "packlink/mapping"

// block is what is known of the registers of one message of a pack. Answers may
// bring them in parts.
type block struct {
	bytes []byte
	known []bool // by register
}

// has tells whether the bytes from first to end are known. No block is a payload
// that is whole.
func (b *block) has(first, end int) bool {
	if b == nil {
		return true
	}
	for i := first / 2; i < (end+1)/2; i++ {
		if i >= len(b.known) || !b.known[i] {
			return false
		}
	}
	return true
}

// registers takes the answer to a question for registers.
func (d *Decoder) registers(a *answer, at int64) {
	outcome := d.applyRegisters(a, at)
	d.counters[outcome]++
	d.newest = outcome
	if outcome == Unknown {
		d.unknown.countRegisters(a, at)
	}
}

// applyRegisters writes registers to the status of the pack whose unit gave
// them: into each message that has some of them.
func (d *Decoder) applyRegisters(a *answer, at int64) Outcome {
	bus := d.table.Bus.Registers
	if bus.Function() != int(a.function) || !bus.HasUnit(int(a.unit)) {
		return Unknown
	}
	if bus.ModelsAt >= 0 {
		return d.models(a, at)
	}
	outcome := Unknown
	for i := range d.table.Programs {
		p := &d.table.Programs[i]
		if a.from >= p.Read.From+p.Read.Count || p.Read.From >= a.from+a.count {
			continue
		}
		h := d.pack(uint32(a.unit), true, at)
		if h == nil {
			return Crowded
		}
		outcome = outcome.and(d.applyBlock(h, p, a, at))
	}
	return outcome
}

// applyBlock writes the part of an answer that lies in a message's registers.
func (d *Decoder) applyBlock(h *heard, p *mapping.Program, a *answer, at int64) Outcome {
	if at < h.seen[p.Index] {
		if h = d.older(h, p.Index, at); h == nil {
			return Late
		}
	}
	b := h.block(p)
	first, end := max(a.from, p.Read.From), min(a.from+a.count, p.Read.From+p.Read.Count)
	d.scratch = append(d.scratch[:0], b.bytes...)
	to, from := 2*(first-p.Read.From), 2*(first-a.from)
	copy(d.scratch[to:2*(end-p.Read.From)], a.data[from:])
	d.known = append(d.known[:0], b.known...)
	for i := first; i < end; i++ {
		d.known[i-p.Read.From] = true
	}
	d.named.known = 0
	if !readNamed(p.Needed, d.scratch, &block{d.scratch, d.known}, &d.named) {
		return OutOfRange
	}
	copy(b.bytes, d.scratch)
	copy(b.known, d.known)
	r := reading{
		status: &h.status, alarms: h.alarms[p.FirstAlarms:], lets: &d.named, at: at, by: uint16(p.Index),
		block: b, first: to, end: 2 * (end - p.Read.From),
	}
	r.read(p.Body.All, b.bytes)
	h.seen[p.Index] = at
	h.status.Time = max(h.status.Time, at)
	if d.decoded != nil {
		d.decoded(h, p.Index, at)
	}
	return Decoded
}

// block is the pack's block of a message.
func (h *heard) block(p *mapping.Program) *block {
	if h.blocks == nil {
		h.blocks = make(map[int]*block)
	}
	b := h.blocks[p.Index]
	if b == nil {
		b = &block{make([]byte, 2*p.Read.Count), make([]bool, p.Read.Count)}
		h.blocks[p.Index] = b
	}
	return b
}

// passes tells whether nothing of an operation was read anew. Of a list each
// element is looked at on its own.
func (r *reading) passes(op *mapping.Op) bool {
	switch op.Kind {
	case mapping.OpElement:
		return false
	case mapping.OpCodes:
		for i := range op.Repetitions() {
			if !r.outside(op, i*op.StepBytes) {
				return false
			}
		}
		return true
	}
	return r.outside(op, 0)
}

// outside tells whether an operation's bytes, moved by an offset, are not among
// those that were read.
func (r *reading) outside(op *mapping.Op, offset int) bool {
	return r.block != nil && (op.Start+offset < r.first || op.Need+offset > r.end)
}
