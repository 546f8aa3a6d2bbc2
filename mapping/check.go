package mapping

import (
	"slices"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

// check notes what is wrong with a mapping whose parts each are readable.
func check(file *document.File, m *Mapping) {
	c := &checker{file, m}
	names := make(map[string]bool)
	for i := range m.Messages {
		msg := &m.Messages[i]
		if names[msg.Name] {
			c.Report(msg.Place, RuleTwice, "there are two messages named %q", msg.Name)
		}
		names[msg.Name] = true
		c.message(msg)
		for j := range i {
			c.distinct(&m.Messages[j], msg)
		}
	}
}

type checker struct {
	*document.File
	m *Mapping
}

func (c *checker) message(msg *Message) {
	if len(msg.Examples) == 0 {
		c.Report(msg.Place, RuleExample, "message %q has no example: give a payload from the source, what it means, and where it comes from", msg.Name)
	}
	if msg.Read != nil && (msg.Read.Model != 0) != (c.m.Bus.Registers.ModelsAt >= 0) {
		c.Report(msg.Place, RuleMatch, "give every message a model if the bus has models_at, and a from if not")
	}
	first := 0
	if msg.Read != nil && msg.Read.Model != 0 {
		first = 2
	}
	lets := c.lets(msg)
	c.fields(msg.Fields, lets, first, msg.MaxBytes)
	c.optional(msg)
	if msg.Each == nil {
		return
	}
	if msg.Read == nil || msg.Read.Model == 0 || msg.Each.At != msg.Read.Count {
		c.Report(msg.Place, RuleBounds, "each_pack follows a model's registers: its at must be the message's count")
	}
	c.fields(msg.Each.Fields, lets, 0, 2*msg.Each.Size)
}

// lets are the names that fields of the message give, with the fields.
func (c *checker) lets(msg *Message) map[string]*Field {
	lets := make(map[string]*Field)
	for i := range msg.Fields {
		f := &msg.Fields[i]
		if f.Let == "" {
			continue
		}
		if lets[f.Let] != nil {
			c.Report(f.Place, RuleTwice, "there are two fields named %q in message %q", f.Let, msg.Name)
		}
		lets[f.Let] = f
	}
	if len(lets) > MaxLets {
		c.Report(msg.Place, RuleLet, "message %q names %d fields; at most %d can be named", msg.Name, len(lets), MaxLets)
	}
	return lets
}

// fields checks the fields of one run of registers or bytes, which lie from
// first (counted like At) to end (in bytes).
func (c *checker) fields(fields []Field, lets map[string]*Field, first, end int) {
	used := make(map[int]*Field)
	for i := range fields {
		f := &fields[i]
		if f.At < first {
			c.Report(f.Place, RuleBounds, "registers 0 and 1 of a model are its id and length, which need no field")
		}
		if f.EndByte() > end {
			c.Report(f.Place, RuleBounds, "the field ends at byte %d; the message has %d", f.EndByte(), end)
			continue
		}
		c.meaning(f)
		c.scale(f, lets)
		c.overlap(f, used)
	}
}

func (c *checker) overlap(f *Field, used map[int]*Field) {
	for element := range max(f.Repeat, 1) {
		for _, bit := range f.bits(element) {
			if other := used[bit]; other != nil {
				c.Report(f.Place, RuleOverlap, "byte %d is read by the field at line %d too", bit/8, other.Place.Line)
				return
			}
			used[bit] = f
		}
	}
}

// bits are the numbers of an element's bits: 8 for each byte of the payload,
// the least significant bit of a byte first.
func (f *Field) bits(element int) []int {
	start, size := f.StartByte(element), f.ContainerBytes()
	numbers := make([]int, 0, f.Type.Bits)
	for i := f.Bit; i < f.Bit+f.Type.Bits; i++ {
		byteAt := start + i/8
		if !f.Little && f.Type.Base != Text {
			byteAt = start + size - 1 - i/8
		}
		numbers = append(numbers, 8*byteAt+i%8)
	}
	return numbers
}

// optional checks that fields which a shorter frame lacks stand at its end.
func (c *checker) optional(msg *Message) {
	for i := range msg.Fields {
		f := &msg.Fields[i]
		if f.Optional && f.StartByte(0) < msg.MinBytes {
			c.Report(f.Place, RuleBounds, "an optional field lies behind the message's least length, which is %d bytes", msg.MinBytes)
		}
		if !f.Optional && f.EndByte() > msg.MinBytes {
			c.Report(f.Place, RuleBounds, "the field ends at byte %d, but the message may have only %d: say optional: true, or a greater length",
				f.EndByte(), msg.MinBytes)
		}
	}
}

func (c *checker) meaning(f *Field) {
	meanings := 0
	for _, is := range []bool{f.Let != "", f.Target != nil, len(f.Alarms) > 0} {
		if is {
			meanings++
		}
	}
	if meanings != 1 {
		c.Report(f.Place, RuleMeaning, "a field is one thing: a quantity (is), a name (let) or alarms; this one is %d", meanings)
	}
	slots := f.Type.Bits
	if f.Type.Base == Pairs {
		slots /= 2
	}
	for _, a := range f.Alarms {
		if a.Slot >= slots {
			c.Report(f.Place, RuleAlarm, "alarm %d lies beyond the %d places of %s", a.Slot, slots, f.Type.Name)
		}
	}
	if len(f.Alarms) > 0 && f.Type.Base != FlagBits && f.Type.Base != Pairs {
		c.Report(f.Place, RuleAlarm, "alarms stand in flags or pairs, not in %s", f.Type.Name)
	}
	if f.Target != nil {
		c.target(f)
	}
}

// shapes are the types that each kind of quantity can be read from.
var shapes = map[pack.Kind][]Base{
	pack.Number:  {Unsigned, Signed},
	pack.Numbers: {Unsigned, Signed},
	pack.Flag:    {Unsigned},
	pack.Flags:   {FlagBits},
	pack.Word:    {Text, Unsigned},
}

func (c *checker) target(f *Field) {
	q := f.Target.Quantity
	row := q.Row()
	if !slices.Contains(shapes[row.Kind], f.Type.Base) {
		c.Report(f.Place, RuleType, "%s cannot be read from %s", q, f.Type.Name)
	}
	if row.Kind == pack.Flag && f.Type.Bits > 1 && len(f.Values) == 0 {
		c.Report(f.Place, RuleMeaning, "%s is true or false: say which raw value is which, as in values: {0: false, 1: true}", q)
	}
	if row.Kind != pack.Flag && len(f.Values) > 0 {
		c.Report(f.Place, RuleMeaning, "%s is no flag: values: names true and false only", q)
	}
	if (q == pack.Current || q == pack.Power) && !f.SignGiven {
		c.Report(f.Place, RuleSign, "say which way is positive: sign: charge-positive or sign: discharge-positive")
	}
	if (f.Repeat > 0 || f.RepeatBy != "") && row.Kind != pack.Numbers {
		c.Report(f.Place, RuleMeaning, "only a list of numbers can be repeated; %s is none", q)
	}
	elements := f.Repeat
	if row.Kind == pack.Flags {
		elements = f.Type.Bits
	}
	if row.Kind.List() && f.Target.Element+elements > row.Max {
		c.Report(f.Place, RuleBounds, "%s holds at most %d elements", q, row.Max)
	}
}

func (c *checker) scale(f *Field, lets map[string]*Field) {
	for _, name := range []string{f.ScaleBy, f.RepeatBy} {
		if name != "" && lets[name] == nil {
			c.Report(f.Place, RuleLet, "no field of the message is named %q: give one let: %s", name, name)
		}
	}
	if f.ScaleBy != "" && lets[f.ScaleBy] != nil && lets[f.ScaleBy].Type.Base != Signed {
		c.Report(f.Place, RuleScale, "the power of ten %s must be a signed field, such as i16", f.ScaleBy)
	}
	if f.RepeatBy != "" && lets[f.RepeatBy] != nil && lets[f.RepeatBy].Range == nil {
		c.Report(lets[f.RepeatBy].Place, RuleLet, "%s counts elements: say how many there can be, as in range: [1, 16]", f.RepeatBy)
	}
	if f.Type.numeric() && f.Bit+f.Type.Bits > 64 {
		c.Report(f.Place, RuleBounds, "the field's bits end at bit %d of its bytes; at most 64 can be read at once", f.Bit+f.Type.Bits)
	} else if _, err := compileField(f, nil, false); err != nil {
		c.Report(f.Place, RuleScale, "%v", err)
	}
	if f.Unit == 2 && f.ContainerBytes() > 2 && f.Type.numeric() && f.Little != f.LowFirst && f.Bit+f.Type.Bits != 8*f.ContainerBytes() {
		c.Report(f.Place, RuleOrder, "a field whose words stand in another order than its bytes must fill its registers")
	}
	if f.Range != nil && f.Target != nil && !f.Target.Quantity.Row().Kind.List() && f.Target.Quantity.Row().Kind != pack.Number {
		c.Report(f.Place, RuleScale, "a range is for numbers; %s is none", f.Target.Quantity)
	}
}

// distinct notes two messages that one frame or one register could belong to.
func (c *checker) distinct(a, b *Message) {
	if a.CAN != nil && b.CAN != nil {
		mask := a.CAN.Mask() & b.CAN.Mask()
		if a.CAN.Extended == b.CAN.Extended && a.CAN.ID&mask == b.CAN.ID&mask {
			c.Report(b.Place, RuleMatch, "a frame can be %q and %q: their ids are the same", a.Name, b.Name)
		}
	}
	if a.Read == nil || b.Read == nil {
		return
	}
	if a.Read.Model != 0 && a.Read.Model == b.Read.Model {
		c.Report(b.Place, RuleMatch, "%q and %q are the same model", a.Name, b.Name)
	}
	if a.Read.Model+b.Read.Model == 0 && a.Read.From < b.Read.From+b.Read.Count && b.Read.From < a.Read.From+a.Read.Count {
		c.Report(b.Place, RuleMatch, "%q and %q read the same registers", a.Name, b.Name)
	}
}
