package decode

import (
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"packlink/decode/pack"
	"packlink/mapping"
)

// Registers are Modbus registers that follow one another.
type Registers struct {
	From    int // PDU address of the first
	Words   []uint16
	Missing []bool // registers whose value is not known and cannot say so; nil if there are none
}

// ModelMark stands before the first SunSpec model: "SunS".
const ModelMark = 0x53756E53

// ModelEnd is the id of the block behind the last model.
const ModelEnd = 0xFFFF

// Layout writes what is known of a bank and its packs into the registers that
// a mapping describes, once. See [Layouter.Write].
func Layout(c *mapping.Compiled, whole *pack.Status, packs []pack.Status) (blocks []Registers, errs []error) {
	return NewLayouter(c).Write(whole, packs)
}

// Layouter writes registers again and again. It keeps each power of ten that it
// chose for as long as it loses no digit, so that a reader finds the same one.
type Layouter struct {
	table  *mapping.Compiled
	powers powers
}

// NewLayouter makes a layouter for a mapping that describes registers.
func NewLayouter(c *mapping.Compiled) *Layouter { return &Layouter{c, make(powers)} }

// Write writes what is known of a bank and its packs. What a register cannot say
// becomes "not available", or is listed as missing where the field has no such
// value; errs says which values did not fit.
func (l *Layouter) Write(whole *pack.Status, packs []pack.Status) (blocks []Registers, errs []error) {
	c := l.table
	if c.Bus.Registers == nil {
		return nil, []error{fmt.Errorf("mapping %s describes no registers", c.Name)}
	}
	b := builder{whole: whole, packs: packs, powers: l.powers}
	if c.Bus.Registers.ModelsAt >= 0 {
		b.models(c)
	} else {
		for i := range c.Programs {
			b.block(c.Programs[i].Read.From)
			b.program(&c.Programs[i], whole, 0)
		}
	}
	return b.blocks, b.errs
}

// builder collects blocks of registers.
type builder struct {
	whole  *pack.Status
	packs  []pack.Status
	powers powers
	blocks []Registers
	errs   []error
}

func (b *builder) block(from int) { b.blocks = append(b.blocks, Registers{From: from}) }

// models writes the mark, the models one behind the other, and the end. Models
// of a pack that stand together in the file stand together for each pack.
func (b *builder) models(c *mapping.Compiled) {
	b.block(c.Bus.Registers.ModelsAt)
	b.words(ModelMark>>16, ModelMark&0xFFFF)
	for i := 0; i < len(c.Programs); {
		run := c.Programs[i:]
		run = run[:packModels(run)]
		for number := range b.packs {
			if !b.packModels(run, number+1) {
				break
			}
		}
		i += len(run)
		if len(run) == 0 {
			b.model(&c.Programs[i], b.whole, 0)
			i++
		}
	}
	b.words(ModelEnd, 0)
}

// packModels is how many of the programs, from the first on, are models of a pack.
func packModels(programs []mapping.Program) int {
	for i := range programs {
		if programs[i].Read.PackAt == 0 {
			return i
		}
	}
	return len(programs)
}

// packModels writes the models of one pack, if there are registers for them.
func (b *builder) packModels(run []mapping.Program, number int) (fits bool) {
	start := len(b.current().Words)
	for i := range run {
		b.model(&run[i], &b.packs[number-1], number)
	}
	if b.current().From+len(b.current().Words) > lastModelEnd {
		b.errs = append(b.errs, fmt.Errorf("the models of pack %d and of those behind it have no room below register %d", number, lastModelEnd))
		b.cut(start)
		return false
	}
	return true
}

// lastModelEnd leaves room for models of the bank and for the end behind the
// models of packs, below the 65536 registers that Modbus can tell apart.
const lastModelEnd = 65_000

// cut forgets the registers from one of them on.
func (b *builder) cut(start int) {
	r := b.current()
	r.Words = r.Words[:start]
	if r.Missing != nil {
		r.Missing = r.Missing[:start]
	}
}

// model writes a message that is a model, with its id and length.
func (b *builder) model(p *mapping.Program, of *pack.Status, number int) {
	at := b.program(p, of, number)
	model := b.current().Words[at:]
	model[0], model[1] = uint16(p.Read.Model), uint16(len(model)-2)
	if number > 0 {
		model[p.Read.PackAt] = uint16(number)
	}
}

func (b *builder) current() *Registers { return &b.blocks[len(b.blocks)-1] }

func (b *builder) words(words ...uint16) {
	r := b.current()
	r.Words = append(r.Words, words...)
	if r.Missing != nil {
		r.Missing = append(r.Missing, make([]bool, len(words))...)
	}
}

// program writes one message's registers, of the bank or of a pack, and returns
// where they begin.
func (b *builder) program(p *mapping.Program, of *pack.Status, number int) (at int) {
	at = len(b.current().Words)
	w := newWriting(p, of, b.packs, &lets{})
	w.sight.whole = b.whole
	w.prepare(p)
	b.powers.choose(p, w, number)
	b.run(w, 2*p.Read.Count, p.Named, p.Body.All)
	w.eachGroup(p, func(size int, ops []mapping.Op) error {
		b.run(w, size, ops)
		return nil
	})
	return at
}

// eachGroup goes through the groups that a message ends with, for each pack or
// for each cell, until one fails. The writing then speaks of the bank or pack again.
func (w *writing) eachGroup(p *mapping.Program, write func(size int, ops []mapping.Op) error) (err error) {
	whole := *w.sight
	if p.Message.Each != nil {
		for i := 0; i < len(whole.packs) && err == nil; i++ {
			w.status, w.sight.pack = &whole.packs[i], &whole.packs[i]
			err = write(2*p.Message.Each.Size, p.Each.All)
		}
		w.status, w.sight.pack = whole.subject(), whole.pack
	}
	if w.ofCell = p.Message.Cells != nil; w.ofCell {
		for ; w.cell < len(w.status.Elements(pack.Cells)) && err == nil; w.cell++ {
			err = write(2*p.Message.Cells.Size, p.Cells.All)
		}
		w.ofCell, w.cell = false, 0
	}
	return err
}

// run writes fields into size further bytes of registers.
func (b *builder) run(w *writing, size int, runs ...[]mapping.Op) {
	data := make([]byte, size)
	start := len(b.current().Words)
	missing := make([]bool, size/2)
	w.refuse = func(op *mapping.Op, offset int, err error) error {
		var noRoom *NoRoomError
		if errors.As(err, &noRoom) {
			b.errs = append(b.errs, err)
		}
		if len(op.Field.Missing) > 0 {
			place(op, data, offset, op.Field.Missing[0].First)
			return nil
		}
		for i := (op.Start + offset) / 2; i < (op.Need+offset)/2; i++ {
			missing[i] = true
		}
		return nil
	}
	_ = w.writeAll(data, runs...)
	words := make([]uint16, size/2)
	for i := range words {
		words[i] = binary.BigEndian.Uint16(data[2*i:])
	}
	b.words(words...)
	b.lose(start, missing)
}

// lose lists registers as missing, from one of them on.
func (b *builder) lose(start int, missing []bool) {
	if !slices.Contains(missing, true) {
		return
	}
	r := b.current()
	if r.Missing == nil {
		r.Missing = make([]bool, len(r.Words))
	}
	copy(r.Missing[start:], missing)
}

// appendGroups appends each repetition of the groups that a message ends with.
func appendGroups(p *mapping.Program, w *writing, b []byte) ([]byte, error) {
	err := w.eachGroup(p, func(size int, ops []mapping.Op) error {
		start := len(b)
		b = append(b, make([]byte, size)...)
		return w.writeAll(b[start:], ops)
	})
	return b, err
}

// headModel writes the id and length of a model before its points, and the number
// of its pack, 0 if it speaks of the bank.
func headModel(p *mapping.Program, b []byte, number int) {
	binary.BigEndian.PutUint16(b, uint16(p.Read.Model))
	binary.BigEndian.PutUint16(b[2:], uint16(len(b)/2-2))
	if p.Read.PackAt > 0 {
		binary.BigEndian.PutUint16(b[2*p.Read.PackAt:], uint16(number))
	}
}
