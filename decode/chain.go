package decode

import (
	"encoding/binary"

	"packlink/decode/pack"
	"packlink/mapping"
)

// ModelMarks are where the mark of a mapping's models can stand, in the order in
// which to look for it: its own place, and the others of the standard (base
// addresses of the SunSpec Alliance's reference library, commit f2ece9aac64b of
// 2026-04-20).
func ModelMarks(table *mapping.Compiled) []uint16 {
	own := uint16(table.Bus.Registers.ModelsAt)
	marks := []uint16{own}
	for _, at := range [...]uint16{40000, 0, 50000} {
		if at != own {
			marks = append(marks, at)
		}
	}
	return marks
}

// mostModels bounds the memory that a chain costs.
const mostModels = 1024

// chain is the models that follow one another in the registers of a unit. It is
// learned from the mark and the headers in the answers that are heard.
type chain struct {
	from     int // register of the mark
	next     int // register of the first header that is not known
	id       int // of the model there, if that much is known; else -1
	complete bool
	models   []*model
	whole    pack.Status // what a chain of several packs says of all of them
}

// model is one model of a chain.
type model struct {
	program *mapping.Program // nil if the mapping does not know it
	id      uint16
	at      int // register of its id
	size    int // registers, with id and length
	block   *block
	waits   bool // for what tells whose pack its registers are
}

// word is a register of an answer, if it is among them.
func (a *answer) word(register int) (word uint16, has bool) {
	if register < a.from || register >= a.from+a.count {
		return 0, false
	}
	return binary.BigEndian.Uint16(a.data[2*(register-a.from):]), true
}

// marked tells whether a mark stands at a register, and whether that is known.
func (a *answer) marked(register int) (is, known bool) {
	high, hasHigh := a.word(register)
	low, hasLow := a.word(register + 1)
	return uint32(high)<<16|uint32(low) == ModelMark, hasHigh && hasLow
}

// learn takes what an answer says of the chain. used says that it says something;
// changed that models which were known are not there any more.
func (c *chain) learn(table *mapping.Compiled, a *answer) (used, changed bool) {
	if c.from < 0 {
		used = c.begin(table, a)
	} else if is, known := a.marked(c.from); known {
		used = true
		if !is {
			changed = len(c.models) > 0
			*c = chain{from: -1}
			return used, changed
		}
	}
	if c.from < 0 {
		return used, false
	}
	usedHead, changed := c.check(a)
	return c.extend(table, a) || used || usedHead, changed
}

func (c *chain) begin(table *mapping.Compiled, a *answer) (found bool) {
	for _, mark := range ModelMarks(table) {
		from := int(mark)
		if is, known := a.marked(from); known && is {
			*c = chain{from: from, next: from + 2, id: -1}
			return true
		}
	}
	return false
}

// check holds the headers that are known against an answer, and forgets the chain
// from the first on that differs.
func (c *chain) check(a *answer) (used, changed bool) {
	for i, m := range c.models {
		id, hasID := a.word(m.at)
		length, hasLength := a.word(m.at + 1)
		used = used || hasID || hasLength
		if hasID && id != m.id || hasLength && int(length) != m.size-2 {
			c.models, c.next, c.id, c.complete = c.models[:i], m.at, -1, false
			return true, true
		}
	}
	if id, has := a.word(c.next); c.complete && has && id != ModelEnd {
		c.complete, c.id = false, -1
		return true, true
	}
	return used, false
}

// extend adds the models whose headers an answer has, or completes.
func (c *chain) extend(table *mapping.Compiled, a *answer) (used bool) {
	for !c.complete {
		if id, has := a.word(c.next); has {
			c.id, used = int(id), true
		}
		if c.id == ModelEnd {
			c.complete = true
			return used
		}
		length, has := a.word(c.next + 1)
		if c.id < 0 || !has {
			return used
		}
		used = true
		size := int(length) + 2
		if c.next+size >= 1<<16 || len(c.models) == mostModels {
			*c = chain{from: -1}
			return used
		}
		c.models = append(c.models, &model{program: findModel(table, uint16(c.id)), id: uint16(c.id), at: c.next, size: size})
		c.next, c.id = c.next+size, -1
	}
	return used
}

func findModel(table *mapping.Compiled, id uint16) *mapping.Program {
	for i := range table.Programs {
		if p := &table.Programs[i]; p.Read.Model == int(id) {
			return p
		}
	}
	return nil
}

// take keeps the part of an answer that lies in the model, and in before what it
// takes the place of. It returns the bytes that are new; none if they are none of the
// model's.
func (m *model) take(a *answer, before *block) (first, end int) {
	from, to := max(a.from, m.at), min(a.from+a.count, m.at+m.size)
	if from >= to {
		return 0, 0
	}
	if m.block == nil {
		m.block = &block{make([]byte, 2*m.size), make([]bool, m.size)}
	}
	first, end = 2*(from-m.at), 2*(to-m.at)
	before.bytes = append(before.bytes[:0], m.block.bytes[first:end]...)
	before.known = append(before.known[:0], m.block.known[first/2:end/2]...)
	copy(m.block.bytes[first:end], a.data[2*(from-a.from):])
	for i := from - m.at; i < to-m.at; i++ {
		m.block.known[i] = true
	}
	return first, end
}

// putBack undoes a take.
func (m *model) putBack(first int, before *block) {
	copy(m.block.bytes[first:], before.bytes)
	copy(m.block.known[first/2:], before.known)
}

// number is the pack that the model speaks of: 0 if it is a model of the whole,
// and -1 if that is not known yet. A number that is not implemented is the
// model's place among its likes.
func (c *chain) number(m *model) int {
	at := m.program.Read.PackAt
	if at == 0 {
		return 0
	}
	if m.block == nil || at >= m.size || !m.block.known[at] {
		return -1
	}
	if number := packNumber(m.program, m.block.bytes); number >= 1 && number <= MaxPacks {
		return number
	}
	place := 1
	for _, other := range c.models {
		if other == m {
			break
		}
		if other.program == m.program {
			place++
		}
	}
	return place
}

// cellsBefore is how many cells of the same pack stand in earlier models of the
// kind, and whether there are such models. It is not ok if the pack of one of them
// is not known.
func (c *chain) cellsBefore(m *model, number int) (cells int, some, ok bool) {
	for _, other := range c.models {
		if other == m {
			break
		}
		if other.program != m.program {
			continue
		}
		switch c.number(other) {
		case number:
			cells, some = cells+other.repetitions(m.program.Message.Cells), true
		case -1:
			return 0, false, false
		}
	}
	return cells, some, true
}

// repetitions is how often a group stands at the end of the model.
func (m *model) repetitions(g *mapping.Group) int {
	if g == nil || m.size < g.At {
		return 0
	}
	return (m.size - g.At) / g.Size
}

// packs is how many packs the chain has, as far as is known. A chain without
// models of packs is one. It is not ok if some models' packs are not known yet.
func (c *chain) packs() (n int, ok bool) {
	for _, m := range c.models {
		if m.program == nil {
			continue
		}
		number := c.number(m)
		if number < 0 {
			return 0, false
		}
		n = max(n, number, m.repetitions(m.program.Message.Each))
	}
	return max(n, 1), true
}
