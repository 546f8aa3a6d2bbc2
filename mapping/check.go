package mapping

import (
	"maps"
	"math"
	"math/bits"
	"slices"

	"packlink/mapping/document"
)

// check notes what is wrong with a mapping whose parts each are readable. What
// stands at a broken node is not readable, and not checked.
func check(file *document.File, m *Mapping, broken map[*document.Node]bool) {
	c := &checker{File: file, m: m, broken: broken, pieces: piecesOf(m)}
	c.anyBroken = slices.Contains(slices.Collect(maps.Values(broken)), true)
	names := make(map[string]bool)
	for i := range m.Messages {
		msg := &m.Messages[i]
		if names[msg.Name] && msg.Name != "" {
			c.Report(at(msg.Place, "name"), RuleTwice, "there are two messages named %q", msg.Name)
		}
		names[msg.Name] = true
		c.message(msg)
		c.distinct(m.Messages[:i], msg)
		c.askedApart(msg)
		c.transportedApart(msg)
	}
	c.models()
}

type checker struct {
	*document.File
	m         *Mapping
	broken    map[*document.Node]bool
	anyBroken bool
	pieces    textPieces
	inCell    bool // the fields of an each_cell are looked at
}

// at is the value of a key, or the whole map where it does not have the key.
func at(n *document.Node, key string) *document.Node {
	if value := n.Get(key); value != nil {
		return value
	}
	return n
}

func (c *checker) message(msg *Message) {
	lets := c.lets(msg)
	if msg.Drafted && msg.Name != "" {
		c.Report(msg.Place, RuleDraft, "message %q has no example: give a payload from the source, what it means, and where it comes from", msg.Name)
	}
	for i := range msg.Examples {
		c.example(msg, &msg.Examples[i], lets)
	}
	if c.broken[msg.Place] {
		return
	}
	first := 0
	if msg.Read != nil && msg.Read.Model != 0 {
		first = 2
	}
	c.fields(msg.Fields, lets, first, msg.MaxBytes)
	c.oneAddress(msg.Fields)
	if msg.Read != nil && msg.Read.PackAt > 0 {
		c.packNumber(msg)
	}
	if msg.Read != nil {
		c.block(msg, lets)
	} else {
		c.optional(msg)
	}
}

// oneAddress notes a second address in a payload.
func (c *checker) oneAddress(fields []Field) {
	first := 0
	for i := range fields {
		switch f := &fields[i]; {
		case f.Address && first > 0:
			c.Report(at(f.Place, "is"), RuleTwice, "the address is read at line %d already", first)
		case f.Address:
			first = f.Place.Line
		}
	}
}

// packNumber notes a field that has the register of the pack's number too.
func (c *checker) packNumber(msg *Message) {
	for i := range msg.Fields {
		f := &msg.Fields[i]
		if !c.broken[f.Place] && (f.has(2*msg.Read.PackAt, math.MaxUint8) || f.has(2*msg.Read.PackAt+1, math.MaxUint8)) {
			c.Report(at(at(msg.Place, "read"), "pack_at"), RuleOverlap, "register %d is read by the field at line %d too", msg.Read.PackAt, f.Place.Line)
			return
		}
	}
}

// AddressBits is how many bits the address of the pack has, in the id or in the
// payload; 0 if it stands in neither.
func (m *Message) AddressBits() int {
	for i := range m.Fields {
		if m.Fields[i].Address {
			return m.Fields[i].Type.Bits
		}
	}
	if m.CAN == nil {
		return 0
	}
	return m.CAN.AddressWidth
}

// AddressBits is how many bits of a pack's address all messages hold that hold
// one; 0 if none does.
func (c *Compiled) AddressBits() (least int) {
	if bus := c.Bus.Serial; bus != nil {
		if bus.Address >= 0 || c.AsksByAddress() {
			return bits.Len(uint(bus.Addresses[1]))
		}
		return 0
	}
	for i := range c.Messages {
		if bits := c.Messages[i].AddressBits(); bits > 0 && (least == 0 || bits < least) {
			least = bits
		}
	}
	return least
}

// OneOnABus tells whether a bus of the mapping has room for one pack only, as nothing
// says which one speaks or is asked.
func (c *Compiled) OneOnABus() bool {
	return c.Bus.Registers == nil && (c.AddressBits() == 0 || !c.AsksByAddress())
}

// block checks what only a block of registers has.
func (c *checker) block(msg *Message, lets map[string]*Field) {
	if (msg.Read.Model != 0) != (c.m.Bus.Registers.ModelsAt >= 0) {
		c.Report(at(msg.Place, "read"), RuleMatch, "give every message a model if the bus has models_at, and a from if not")
	}
	if msg.Read.PackAt >= msg.Read.Count {
		c.Report(at(at(msg.Place, "read"), "pack_at"), RuleBounds, "the pack's number stands in register %d; there are %d", msg.Read.PackAt, msg.Read.Count)
	}
	c.group(msg, msg.Each, "each_pack", lets)
	c.group(msg, msg.Cells, "each_cell", lets)
	switch {
	case msg.Each != nil && (msg.Read.PackAt > 0 || msg.Cells != nil):
		c.Report(at(msg.Place, "each_pack"), RuleMatch, "each_pack is for a model of the whole bank: leave out pack_at and each_cell, or give them a model of their own")
	case msg.Cells != nil && msg.Read.PackAt == 0:
		c.Report(at(msg.Place, "each_cell"), RuleMatch, "each_cell is for a model of one pack: say in pack_at of read where its number stands")
	}
}

// group checks the group that a model ends with.
func (c *checker) group(msg *Message, g *Group, key string, lets map[string]*Field) {
	if g == nil {
		return
	}
	if msg.Read.Model == 0 || g.At != msg.Read.Count {
		c.Report(at(at(msg.Place, key), "at"), RuleBounds, "%s follows a model's registers: its at must be the model's count, which is %d", key, msg.Read.Count)
	}
	c.inCell = key == "each_cell"
	c.fields(g.Fields, lets, 0, 2*g.Size)
	c.inCell = false
}

// lets are the names that fields of the message give, with the fields. Names
// inside a group must differ from them, but nothing can refer to those.
func (c *checker) lets(msg *Message) map[string]*Field {
	lets := make(map[string]*Field)
	c.name(msg, msg.Fields, lets)
	if len(lets) > MaxLets {
		c.Report(at(msg.Place, "name"), RuleLet, "message %q names %d fields; at most %d can be named", msg.Name, len(lets), MaxLets)
	}
	for _, group := range msg.runs()[1:] {
		c.name(msg, group, maps.Clone(lets))
	}
	return lets
}

func (c *checker) name(msg *Message, fields []Field, lets map[string]*Field) {
	for i := range fields {
		f := &fields[i]
		if f.Let == "" {
			continue
		}
		if lets[f.Let] != nil {
			c.Report(at(f.Place, "let"), RuleTwice, "there are two fields named %q in message %q", f.Let, msg.Name)
		}
		lets[f.Let] = f
	}
}

// example checks what an example says beside its bytes; package decode runs it.
func (c *checker) example(msg *Message, e *Example, lets map[string]*Field) {
	switch {
	case msg.Frame != nil && e.Address >= 0 && c.m.Bus.Serial.Address < 0 && msg.AddressBits() == 0:
		c.Report(at(e.Place, "address"), RuleExample, "only a frame that holds an address has an example with an address")
	case msg.Frame != nil && msg.Ask == nil && e.Asks != nil:
		c.Report(at(e.Place, "asks"), RuleExample, "only a message with ask has an example with a question")
	case msg.Frame != nil:
	case msg.CAN == nil && e.Address >= 0:
		c.Report(at(e.Place, "address"), RuleExample, "only a message whose id or payload holds an address has an example with an address")
	case msg.CAN != nil && e.Address >= 1<<msg.AddressBits() && e.Address >= 0:
		c.Report(at(e.Place, "address"), RuleExample, "address %d does not fit the %d address bits of the message", e.Address, msg.AddressBits())
	case msg.Each == nil && len(e.Each) > 0:
		c.Report(at(e.Place, "each_gives"), RuleExample, "each_gives is for a message with each_pack")
	}
	for _, gives := range append([][]Given{e.Gives}, e.Each...) {
		for _, g := range gives {
			if g.Target == nil && g.Key != alarmsKey && lets[g.Key] == nil {
				c.Report(g.Place, RuleExample, "%q is no quantity and no name of a field%s", g.Key, nearest(g.Key))
			}
		}
	}
}

// models checks that the models of a register space fit it: the mark, the
// models one behind the other with the group of one pack, and the end.
func (c *checker) models() {
	if c.m.Bus.Registers == nil || c.m.Bus.Registers.ModelsAt < 0 {
		return
	}
	end := c.m.Bus.Registers.ModelsAt + 4
	for i := range c.m.Messages {
		msg := &c.m.Messages[i]
		if msg.Read == nil {
			continue
		}
		end += msg.Read.Count
		for _, g := range []*Group{msg.Each, msg.Cells} {
			if g != nil {
				end += g.Size
			}
		}
		if end > maxRegisters {
			c.Report(at(at(msg.Place, "read"), "count"), RuleBounds, "the models end behind register %d", maxRegisters-1)
			return
		}
	}
}

// maxRegisters is how many registers a Modbus address can tell apart (MODBUS
// Application Protocol Specification V1.1b3, section 4.3).
const maxRegisters = 1 << 16
