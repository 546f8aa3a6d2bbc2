package decode

import (
	"cmp"
	"fmt"
	"slices"

	"packlink/decode/pack"
	"packlink/mapping"
)

// ordinaryUnit is the unit whose packs carry the plain name of their source.
const ordinaryUnit = 1

// packKey tells the packs of all units apart.
func packKey(unit byte, number int) uint32 { return uint32(unit)<<16 | uint32(number) }

// Hears tells whether some pack of a Modbus unit was heard.
func (d *Decoder) Hears(unit byte) bool {
	return slices.ContainsFunc(d.packs, func(h *heard) bool {
		return h.address == uint32(unit) || d.chains != nil && h.address>>16 == uint32(unit)
	})
}

// models takes an answer of a unit whose registers are models one behind the
// other. Their places are learned from the mark and the headers that are heard.
func (d *Decoder) models(a *answer, at int64) Outcome {
	if d.chains == nil {
		d.chains = make(map[byte]*chain)
	}
	c := d.chains[a.unit]
	if c == nil {
		c = &chain{from: -1}
		d.chains[a.unit] = c
	}
	outcome := Unknown
	used, changed := c.learn(d.table, a)
	if used {
		outcome = Decoded
	}
	if changed {
		d.packs = slices.DeleteFunc(d.packs, func(h *heard) bool { return h.address>>16 == uint32(a.unit) })
		d.last = nil
	}
	if !c.complete {
		return outcome
	}
	for _, m := range c.models {
		if m.program == nil {
			continue
		}
		first, end := m.take(a, &d.before)
		if first == end {
			continue
		}
		became := d.applyModel(c, m, a.unit, first, end, at)
		if became == OutOfRange {
			m.putBack(first, &d.before)
		}
		outcome = outcome.and(became)
	}
	if _, ok := c.packs(); ok {
		d.applyWaiting(c, a.unit, at)
	}
	return outcome
}

// applyWaiting writes the models that are known whole and were heard before it was
// known whose they are.
func (d *Decoder) applyWaiting(c *chain, unit byte, at int64) {
	for _, m := range c.models {
		if m.waits && m.block.has(0, 2*m.size) {
			d.applyModel(c, m, unit, 0, 2*m.size, at)
		}
	}
}

// applyModel writes the part of an answer that lies in a model. What is said of the
// whole is said of the pack, if there is one.
func (d *Decoder) applyModel(c *chain, m *model, unit byte, first, end int, at int64) Outcome {
	packs, ok := c.packs()
	if m.waits = !ok; m.waits {
		return Decoded
	}
	outcome := Decoded
	var touched []*heard
	into := func(number int) (*pack.Status, []said) {
		if number == 0 && packs > 1 {
			return &c.whole, make([]said, d.table.Alarms)
		}
		h := d.packOf(unit, max(number, 1), at)
		if h != nil && at < h.seen[m.program.Index] {
			if h = d.older(h, m.program.Index, at); h == nil {
				outcome = Late
				return nil, nil
			}
			h = d.packOf(unit, max(number, 1), at)
		}
		if h == nil {
			outcome = Crowded
			return nil, nil
		}
		touched = append(touched, h)
		return &h.status, h.alarms
	}
	if !c.apply(m, first, end, reading{at: at}, into) {
		return OutOfRange
	}
	if packs > 1 {
		d.shareNames(c, unit)
	}
	for _, h := range touched {
		d.told(h, m.program, at)
	}
	return outcome
}

// packOf is a pack of a unit; nil if there are too many. The packs stand in the
// order of their units and numbers.
func (d *Decoder) packOf(unit byte, number int, at int64) *heard {
	h := d.pack(packKey(unit, number), true, at)
	if h == nil || h.status.Address == uint32(number) {
		return h
	}
	h.status.Address = uint32(number)
	slices.SortStableFunc(d.packs, func(a, b *heard) int { return cmp.Compare(a.address, b.address) })
	if unit != ordinaryUnit {
		h.status.Source = fmt.Sprintf("%s (unit %d)", d.source, unit)
	}
	return h
}

// told notes what a pack was told by a message. What only a bank has is left out.
func (d *Decoder) told(h *heard, p *mapping.Program, at int64) {
	for _, q := range [...]pack.Quantity{pack.Packs, pack.PacksFresh, pack.CellMaxPack, pack.CellMinPack} {
		h.status.Clear(q)
	}
	h.seen[p.Index] = at
	h.status.Time = max(h.status.Time, at)
	if d.decoded != nil {
		d.decoded(h, p.Index, at)
	}
}

// shareNames gives each pack of a unit what the unit says of who all of them are.
func (d *Decoder) shareNames(c *chain, unit byte) {
	for _, h := range d.packs {
		if h.address>>16 != uint32(unit) {
			continue
		}
		for _, q := range [...]pack.Quantity{pack.Maker, pack.Model, pack.Firmware, pack.Hardware} {
			if v := c.whole.Value(q); v.Trust != 0 {
				h.status.PutText(q, c.whole.TextBytes(q), v)
			}
		}
	}
}
