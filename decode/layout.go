package decode

import (
	"encoding/binary"
	"errors"
	"fmt"

	"packlink/decode/pack"
	"packlink/mapping"
)

// Registers are Modbus registers that follow one another.
type Registers struct {
	From    int // PDU address of the first
	Words   []uint16
	Missing []bool // registers whose value is not known and cannot say so; nil if there are none
}

// sunSpecMark stands before the first SunSpec model: "SunS".
const sunSpecMark = 0x53756E53

// sunSpecEnd is the id of the block behind the last model.
const sunSpecEnd = 0xFFFF

// Layout writes what is known of a bank and its packs into the registers that
// a mapping describes. What a register cannot say becomes "not available", or
// is listed as missing where the field has no such value; errs says which
// values did not fit.
func Layout(c *mapping.Compiled, whole *pack.Status, packs []pack.Status) (blocks []Registers, errs []error) {
	if c.Bus.Registers == nil {
		return nil, []error{fmt.Errorf("mapping %s describes no registers", c.Name)}
	}
	b := builder{whole: whole, packs: packs}
	if c.Bus.Registers.ModelsAt >= 0 {
		b.models(c)
	} else {
		for i := range c.Programs {
			b.block(c.Programs[i].Read.From)
			b.program(&c.Programs[i])
		}
	}
	return b.blocks, b.errs
}

// builder collects blocks of registers.
type builder struct {
	whole  *pack.Status
	packs  []pack.Status
	blocks []Registers
	errs   []error
}

func (b *builder) block(from int) { b.blocks = append(b.blocks, Registers{From: from}) }

// models writes the mark, the models one behind the other, and the end.
func (b *builder) models(c *mapping.Compiled) {
	b.block(c.Bus.Registers.ModelsAt)
	b.words(sunSpecMark>>16, sunSpecMark&0xFFFF)
	for i := range c.Programs {
		p := &c.Programs[i]
		at := b.program(p)
		model := b.current().Words[at:]
		model[0], model[1] = uint16(p.Read.Model), uint16(len(model)-2)
	}
	b.words(sunSpecEnd, 0)
}

func (b *builder) current() *Registers { return &b.blocks[len(b.blocks)-1] }

func (b *builder) words(words ...uint16) {
	r := b.current()
	r.Words = append(r.Words, words...)
	if r.Missing != nil {
		r.Missing = append(r.Missing, make([]bool, len(words))...)
	}
}

// program writes one message's registers and returns where they begin.
func (b *builder) program(p *mapping.Program) (at int) {
	at = len(b.current().Words)
	w := &writing{status: b.whole, lets: &lets{}}
	w.prepare(p)
	b.run(w, 2*p.Read.Count, p.Named, p.Body.All)
	if p.Message.Each != nil {
		for i := range b.packs {
			w.status = &b.packs[i]
			b.run(w, 2*p.Message.Each.Size, p.Each.All)
		}
	}
	return at
}

// run writes fields into size further bytes of registers.
func (b *builder) run(w *writing, size int, runs ...[]mapping.Op) {
	data := make([]byte, size)
	start := len(b.current().Words)
	var lost []*mapping.Op
	w.refuse = func(op *mapping.Op, err error) error {
		var noRoom *NoRoomError
		if errors.As(err, &noRoom) {
			b.errs = append(b.errs, err)
		}
		if len(op.Field.Missing) > 0 {
			place(op, data, 0, op.Field.Missing[0])
		} else {
			lost = append(lost, op)
		}
		return nil
	}
	_ = w.writeAll(data, runs...)
	words := make([]uint16, size/2)
	for i := range words {
		words[i] = binary.BigEndian.Uint16(data[2*i:])
	}
	b.words(words...)
	for _, op := range lost {
		b.lose(start+op.Start/2, start+op.Need/2)
	}
}

// lose lists registers as missing.
func (b *builder) lose(from, to int) {
	r := b.current()
	if r.Missing == nil {
		r.Missing = make([]bool, len(r.Words))
	}
	for i := from; i < to; i++ {
		r.Missing[i] = true
	}
}

// appendGroups appends each pack's repetition of a model's group.
func appendGroups(p *mapping.Program, packs []pack.Status, named *lets, b []byte) ([]byte, error) {
	w := &writing{lets: named, refuse: func(_ *mapping.Op, err error) error { return err }}
	for i := range packs {
		start := len(b)
		b = append(b, make([]byte, 2*p.Message.Each.Size)...)
		w.status = &packs[i]
		if err := w.writeAll(b[start:], p.Each.All); err != nil {
			return b, err
		}
	}
	return b, nil
}

// headModel writes the id and length of a model before its points.
func headModel(p *mapping.Program, b []byte) {
	binary.BigEndian.PutUint16(b, uint16(p.Read.Model))
	binary.BigEndian.PutUint16(b[2:], uint16(len(b)/2-2))
}

// readGroups reads each pack's repetition of a model's group.
func readGroups(p *mapping.Program, payload []byte, named *lets, at int64) (packs []pack.Status) {
	size := 2 * p.Message.Each.Size
	for rest := payload[2*p.Read.Count:]; len(rest) >= size; rest = rest[size:] {
		var s pack.Status
		s.Address, s.HasAddress = uint32(len(packs)+1), true
		r := reading{status: &s, alarms: make([]said, p.Alarms), lets: named, at: at, by: uint16(p.Index)}
		r.run(&p.Each, rest[:size])
		s.Alarms = merged(r.alarms)
		packs = append(packs, s)
	}
	return packs
}

// ReadModels reads a SunSpec register image, from its mark on: what the models
// of the mapping say about the whole and about each pack. Models that the
// mapping does not know are passed over.
func ReadModels(c *mapping.Compiled, words []uint16, at int64) (whole pack.Status, packs []pack.Status, err error) {
	if len(words) < 2 || uint32(words[0])<<16|uint32(words[1]) != sunSpecMark {
		return whole, nil, fmt.Errorf("the registers do not begin with the SunSpec mark %08X", uint32(sunSpecMark))
	}
	whole.Time, whole.Mapping = at, c.Name
	for rest := words[2:]; ; {
		if len(rest) == 0 {
			return whole, packs, fmt.Errorf("the registers end before the end mark %04X", sunSpecEnd)
		}
		if rest[0] == sunSpecEnd {
			return whole, packs, nil
		}
		if len(rest) < 2 || len(rest) < 2+int(rest[1]) {
			return whole, packs, fmt.Errorf("model %d is cut off", rest[0])
		}
		model := rest[:2+int(rest[1])]
		rest = rest[len(model):]
		for i := range c.Programs {
			if p := &c.Programs[i]; p.Read.Model == int(model[0]) && len(model) >= p.Read.Count {
				packs = append(packs, readModel(p, model, &whole, at)...)
			}
		}
	}
}

func readModel(p *mapping.Program, words []uint16, whole *pack.Status, at int64) []pack.Status {
	payload := make([]byte, 0, 2*len(words))
	for _, w := range words {
		payload = binary.BigEndian.AppendUint16(payload, w)
	}
	var named lets
	if !readNamed(p.Named, payload, nil, &named) {
		return nil
	}
	r := reading{status: whole, alarms: make([]said, p.Alarms), lets: &named, at: at, by: uint16(p.Index)}
	r.run(&p.Body, payload)
	whole.Alarms = whole.Alarms.Merge(merged(r.alarms))
	if p.Message.Each == nil {
		return nil
	}
	return readGroups(p, payload, &named, at)
}
