package mapping

import (
	"math"
	"slices"
)

// fields checks the fields of one run of registers or bytes, which lie from
// first (counted like At) to end (in bytes).
func (c *checker) fields(fields []Field, lets map[string]*Field, first, end int) {
	claims := newClaims(end)
	sound := make([]Field, 0, len(fields)) // where the lists before them are full
	for i := range fields {
		f := &fields[i]
		if c.broken[f.Place] {
			continue
		}
		c.meaning(f)
		c.scale(f, lets)
		c.repetition(f, lets)
		c.depends(fields, i, lets)
		if lost := f.After != "" && f.behind == nil; !lost && c.within(f, first, end) {
			far := *f
			far.base += f.sweep()
			c.overlap(claims, &far, sound)
			sound = append(sound, far)
		}
	}
	c.moving(fields)
}

// within checks that a field lies inside its run.
func (c *checker) within(f *Field, first, end int) bool {
	place := at(f.Place, "at")
	switch {
	case f.At < first:
		c.Report(place, RuleBounds, "registers 0 and 1 of a model are its id and length, which need no field")
	case f.Type.numeric() && f.Bit+f.Type.Bits > 64:
		c.Report(at(f.Place, "bit"), RuleBounds, "the field's bits end at bit %d of its bytes; at most 64 can be read at once", f.Bit+f.Type.Bits)
	case f.Unit == 2 && !f.Type.numeric() && f.Type.Bits%16 != 0:
		c.Report(at(f.Place, "as"), RuleBounds, "a text fills whole registers, so it has an even number of bytes; this is %s", f.Type.Name)
	case f.LastByte() > end && f.Unit == 2:
		c.Report(place, RuleBounds, "the field ends at register %d; there are %d", f.LastByte()/2, end/2)
	case f.LastByte() > end:
		c.Report(place, RuleBounds, "the field ends at byte %d; the message has at most %d%s", f.LastByte(), end, c.dataMost(end))
	default:
		return true
	}
	return false
}

// dataMost is where a serial line says how many bytes a payload has at most.
func (c *checker) dataMost(end int) string {
	if bus := c.m.Bus.Serial; bus != nil && bus.Format.DataPart().Most == end {
		return ", as the part data says (most or size)"
	}
	return ""
}

// overlap notes a field whose bits another field, or another of its elements,
// has too.
func (c *checker) overlap(claims *claims, f *Field, earlier []Field) {
	if f.Repetitions() > 1 && f.overlapsItself() {
		c.Report(at(f.Place, "step"), RuleOverlap, "the elements overlap one another: the step must be at least %d", f.ContainerBytes()/f.Unit)
		return
	}
	if !claims.begin(f) {
		c.Report(at(f.Place, "when"), RuleWhen, "fields of the message depend on more than %d raw values", MaxWhen)
		return
	}
	for element := range max(f.Repetitions(), 1) {
		start := f.StartByte(element)
		for number := start; number < start+f.ContainerBytes(); number++ {
			bits := f.bitsOf(element, number)
			if taken := claims.taken(number) & bits; taken != 0 {
				c.Report(at(f.Place, "at"), RuleOverlap, "byte %d is read by the field at line %d too%s", number, c.owner(f, earlier, number, taken), f.apart())
				return
			}
			claims.take(number, bits)
		}
	}
}

// apart is how a field that is not always there is kept apart from others.
func (f *Field) apart() string {
	if f.When == nil {
		return ""
	}
	return ": fields of the same bits depend on the same name (when), each on other values"
}

// bitsOf are the bits of a byte of the payload that an element of the field has.
func (f *Field) bitsOf(element, number int) byte {
	return f.byteOf(math.MaxUint64>>(64-min(f.Type.Bits, 64)), element, number)
}

// byteOf is what a raw value in an element of the field makes of a byte of the
// payload.
func (f *Field) byteOf(raw uint64, element, number int) byte {
	size := f.ContainerBytes()
	i := number - f.StartByte(element)
	switch {
	case i < 0 || i >= size:
		return 0
	case !f.Type.numeric():
		return math.MaxUint8
	case !f.Little:
		i = size - 1 - i
	}
	shift := 8*i - f.Bit
	if shift < 0 {
		return byte(raw << -shift)
	}
	return byte(raw >> shift)
}

func (f *Field) overlapsItself() bool {
	start := f.StartByte(1)
	for number := start; number < start+f.ContainerBytes(); number++ {
		if f.bitsOf(0, number)&f.bitsOf(1, number) != 0 {
			return true
		}
	}
	return false
}

// owner is the line of the first field that has some of the bits of a byte, and
// can be there together with f.
func (c *checker) owner(f *Field, earlier []Field, number int, bits byte) (line int) {
	for i := range earlier {
		if earlier[i].has(number, bits) && !earlier[i].excludes(f) {
			return earlier[i].Place.Line
		}
	}
	return f.Place.Line
}

// has tells whether the field has some of the bits of a byte. Only the elements
// that reach as far are looked at.
func (f *Field) has(number int, bits byte) bool {
	step := f.Unit * f.Step
	last := min((number-f.StartByte(0))/step, f.Repetitions()-1)
	for element := max(last, 0); element >= 0 && number < f.StartByte(element)+f.ContainerBytes(); element-- {
		if f.bitsOf(element, number)&bits != 0 {
			return true
		}
	}
	return false
}

// optional checks that fields which a shorter frame lacks stand at its end.
func (c *checker) optional(msg *Message) {
	if slices.ContainsFunc(msg.Fields, func(f Field) bool { return c.broken[f.Place] }) {
		return // the least length may be wrong
	}
	for i := range msg.Fields {
		f := &msg.Fields[i]
		switch {
		case f.Optional && f.StartByte(0)+f.sweep() < msg.MinBytes:
			c.Report(at(f.Place, "optional"), RuleBounds, "the field begins at byte %d, and every frame has %d: leave optional out, or say the least length",
				f.StartByte(0)+f.sweep(), msg.MinBytes)
		case !f.Optional && f.EndByte() > msg.MinBytes && f.EndByte() <= msg.MaxBytes:
			c.Report(at(f.Place, "at"), RuleBounds, "the field ends at byte %d, but the message may have only %d: say optional: true, or a greater length",
				f.EndByte(), msg.MinBytes)
		}
	}
}
