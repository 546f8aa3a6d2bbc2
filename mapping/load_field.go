package mapping

import (
	"cmp"
	"math"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

func (l *loader) field(n *document.Node) Field {
	f := Field{Place: n, Scale: pack.Int(1), Unit: 1}
	if l.registers {
		f.Unit = 2
	}
	before := l.Reports()
	defer func() { l.broken[n] = l.Reports() > before }()
	o := l.Object(n, "a field")
	if o == nil {
		return f
	}
	f.At = int(o.NeedInt("at", 0, math.MaxUint16))
	f.Bit = int(o.Int("bit", 0, 0, 63))
	if as := o.Need("as"); as != nil {
		f.Type = l.fieldType(as)
	}
	if l.registers {
		o.Only("in frames", "optional", "equals", "rolling", "page", "after")
	} else {
		f.Optional = o.Flag("optional")
		o.Only("in registers", "derive")
	}
	l.order(o, &f)
	l.meaning(o, &f)
	l.date(o, &f)
	l.scaling(o, &f)
	l.special(o, &f)
	l.repetition(o, &f)
	l.depends(o, &f)
	o.Done()
	return f
}

// orders reads byte and word order, "" where they are not given. A wrong one is
// reported and taken for another.
func (l *loader) orders(o *document.Object) (bytes, words string) {
	bytes = o.Choice("byte_order", "little", "big")
	if bytes == "" && o.Node.Get("byte_order") != nil {
		bytes = "little"
	}
	if !l.registers {
		o.Only("in registers", "word_order")
		return bytes, ""
	}
	words = o.Choice("word_order", "low-first", "high-first")
	if words == "" && o.Node.Get("word_order") != nil {
		words = "low-first"
	}
	return bytes, words
}

// order reads byte and word order, which a field inherits from the file.
func (l *loader) order(o *document.Object, f *Field) {
	bytes, words := l.orders(o)
	bytes, words = cmp.Or(bytes, l.byteOrder), cmp.Or(words, l.wordOrder)
	f.Little, f.LowFirst = bytes == "little", words == "low-first"
	if !f.Type.numeric() {
		return
	}
	if bytes == "" && !l.registers && f.ContainerBytes() > 1 {
		l.Report(f.Place, RuleOrder, "the field spans several bytes: say byte_order: little or big, here or for the whole file")
	}
	if words == "" && l.registers && f.ContainerBytes() > 2 {
		l.Report(f.Place, RuleOrder, "the field spans several registers: say word_order: low-first or high-first, here or for the whole file")
	}
}

// scaling reads how a raw number becomes a value.
func (l *loader) scaling(o *document.Object, f *Field) {
	if n := o.Get("scale"); n != nil {
		f.Scale = l.decimal(n, "scale")
		if f.Scale.Coef == 0 {
			l.Report(n, RuleScale, "the scale must not be 0")
			f.Scale = pack.Int(1)
		}
	}
	if n := o.Get("offset"); n != nil {
		f.Offset = l.decimal(n, "offset")
	}
	f.ScaleBy = o.Text("scale_by")
	sign := o.Choice("sign", "charge-positive", "discharge-positive")
	f.SignGiven = sign != ""
	if sign == "discharge-positive" {
		f.Scale.Coef, f.Offset.Coef = -f.Scale.Coef, -f.Offset.Coef
	}
	if n := o.Get("range"); n != nil {
		f.Range = l.valueRange(n)
	}
}

// repetition reads how often a field is repeated to fill a list.
func (l *loader) repetition(o *document.Object, f *Field) {
	f.Step = max(f.ContainerBytes()/f.Unit, 1)
	n := o.Get("repeat")
	if n == nil {
		o.Only("beside repeat", "step", "page")
		return
	}
	f.Step = int(o.Int("step", int64(f.Step), 1, math.MaxUint16))
	if !l.registers {
		f.Page = l.reference(o.Get("page"), "the name that says which part of a list this is (page)")
	}
	if n.Kind == document.Scalar && letName.MatchString(n.Text) {
		l.Takes(n, letForm)
		f.RepeatBy = n.Text
		return
	}
	f.Repeat = int(l.Int(n, `"repeat" (elements, or the name of the field that counts them)`, 1, pack.MaxCells))
}
