package mapping

import (
	"regexp"
	"strconv"

	"packlink/mapping/document"
)

var typeName = regexp.MustCompile(`^(u|i|sm|f|bcd|flags|pairs|text)([1-9][0-9]*)$`)

// bases are the type names with the widths, in bits, they can have.
var bases = map[string]struct {
	base  Base
	least int
	most  int
}{
	"u":     {Unsigned, 1, 64},
	"i":     {Signed, 2, 64},
	"sm":    {SignMagnitude, 2, 64},
	"f":     {Float, 32, 64},
	"flags": {FlagBits, 1, 64},
	"pairs": {Pairs, 2, 64},
	"text":  {Text, 1, 64},
	"bcd":   {BCD, 1, 16},
}

// fieldType reads the name of a type: u16, i8, flags32, pairs64, text8, bcd4.
// The number is the width in bits; in bytes for text, in digits for BCD.
func (l *loader) fieldType(n *document.Node) Type {
	l.Takes(n, document.Form{Type: "string", Pattern: typeName.String()})
	parts := typeName.FindStringSubmatch(n.Text)
	if parts == nil || n.Kind != document.Scalar {
		l.Report(n, RuleType, "%q is no type; write u, i, sm, flags or pairs and the bits, f32 or f64, text and the bytes, or bcd and the digits, such as u16, text8 or bcd4", n.Text)
		return Type{Base: Unsigned, Bits: 8}
	}
	b := bases[parts[1]]
	width, err := strconv.Atoi(parts[2])
	switch {
	case err != nil || width < b.least || width > b.most:
		l.Report(n, RuleType, "there is no %s; it can be %s%d to %s%d", n.Text, parts[1], b.least, parts[1], b.most)
		return Type{Base: Unsigned, Bits: 8}
	case b.base == Pairs && width%2 != 0:
		l.Report(n, RuleType, "there is no %s: pairs have an even number of bits", n.Text)
		return Type{Base: Unsigned, Bits: 8}
	case b.base == Float && width != 32 && width != 64:
		l.Report(n, RuleType, "there is no %s: a float has 32 or 64 bits", n.Text)
		return Type{Base: Unsigned, Bits: 8}
	}
	switch b.base {
	case Text:
		width *= 8
	case BCD:
		width *= 4
	}
	return Type{Base: b.base, Bits: width, Name: n.Text}
}

// numeric tells whether the type is read as one number of at most 64 bits.
func (t Type) numeric() bool { return t.Base != Text }

// ContainerBytes is how many whole bytes, or whole registers in bytes, the
// field's bits lie in.
func (f *Field) ContainerBytes() int {
	bytes := (f.Bit + f.Type.Bits + 7) / 8
	return (bytes + f.Unit - 1) / f.Unit * f.Unit
}

// Repetitions is how many elements the field has at most.
func (f *Field) Repetitions() int {
	if f.RepeatBy != "" {
		return f.Most
	}
	return max(f.Repeat, 1)
}

// StartByte is the first byte of the field's element i, both from 0, where the
// lists that it lies behind are empty.
func (f *Field) StartByte(i int) int { return f.base + f.Unit*(f.At+i*f.Step) }

// EndByte is the byte after the last that the field always needs: the last
// element of a fixed repetition, the first of a counted one; none if the count
// can be 0.
func (f *Field) EndByte() int {
	if f.RepeatBy != "" && f.Least == 0 {
		return 0
	}
	end := f.StartByte(max(f.Repeat, 1)-1) + f.ContainerBytes()
	for _, s := range f.Behind {
		end += s.Least * s.Bytes
	}
	return end
}

// LastByte is the byte after the last that the field can reach: the last element
// that a count allows.
func (f *Field) LastByte() int { return f.nearestEnd() + f.sweep() }

// nearestEnd is LastByte where the lists that the field lies behind are empty.
func (f *Field) nearestEnd() int {
	return f.StartByte(max(f.Repetitions(), 1)-1) + f.ContainerBytes()
}

// sweep is how many bytes the greatest counts of the lists before it move the
// field.
func (f *Field) sweep() (bytes int) {
	for _, s := range f.Behind {
		bytes += s.Most * s.Bytes
	}
	return bytes
}
