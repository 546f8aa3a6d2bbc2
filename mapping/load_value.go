package mapping

import (
	"regexp"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

var plainDecimal = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?$`)

func (l *loader) decimal(n *document.Node, what string) pack.Decimal {
	l.Takes(n, document.Form{Type: "number"})
	d, err := pack.ParseDecimal(n.Text)
	if err != nil || n.Kind != document.Scalar || n.Quoted || !plainDecimal.MatchString(n.Text) || d.Coef == 0 && n.Text[0] == '-' {
		l.Report(n, document.RuleWrongType, "%s must be a plain decimal number of at most %d digits, such as 0.1 or -40", what, pack.MaxExp)
		return pack.Int(1)
	}
	return d
}

func (l *loader) valueRange(n *document.Node) *Range {
	if n.Kind != document.List || len(n.Items) != 2 {
		l.Report(n, document.RuleWrongType, "range must be [least, greatest]")
		return nil
	}
	before := l.Reports()
	r := &Range{l.decimal(n.Items[0], "the least value"), l.decimal(n.Items[1], "the greatest value")}
	if l.Reports() == before && r.Low.Cmp(r.High) >= 0 {
		l.Report(n, RuleScale, "the range is empty: its first value must be less than its second")
	}
	return r
}

// special reads which raw values mean something of their own, and what is
// written where nothing is known.
func (l *loader) special(o *document.Object, f *Field) {
	if f.Equals == nil && !f.Address && !f.Rolling {
		f.Missing = l.missing[f.Type.Name]
	}
	if n := o.Get("missing"); n != nil {
		f.Missing = l.missingRaws(n, "missing", f.Type)
	}
	if n := o.Get("values"); n != nil && l.Object(n, "values") != nil {
		switch {
		case f.Derive == nil:
			l.meanings(n, f)
		case !f.Derive.number():
			l.words(n, f.Derive, f.Type.Bits)
		}
	}
	l.pad(o.Get("pad"), f)
	n := o.Get("write")
	switch {
	case n == nil:
	case n.Text == finest && f.Let != "" && !n.Quoted:
		l.Takes(n, document.Form{Type: "string", Choices: []string{finest}})
		f.Finest = true
	case f.Type.Base == Text:
		f.Write = &Constant{Text: l.Text(n, "write")}
	default:
		f.Write = &Constant{Raw: l.raw(n, "write", f.Type.Bits)}
	}
}

// pad reads what a text is filled up with. Reading takes off NULs and blanks, so
// others would stay.
func (l *loader) pad(n *document.Node, f *Field) {
	if n == nil {
		return
	}
	f.Pad = byte(l.raw(n, "pad", 8))
	if f.Pad != 0 && f.Pad != ' ' {
		l.Report(n, RuleMeaning, "a text is filled up with NULs (pad: 0) or blanks (pad: 0x20), which reading takes off again")
	}
}

// finest is written for a power of ten that is chosen at writing.
const finest = "finest"

// raw reads a raw value of a field of so many bits.
func (l *loader) raw(n *document.Node, what string, bits int) uint64 {
	l.Takes(n, document.Form{Type: "integer"})
	bits = min(max(bits, 1), 64)
	v, err := document.ParseBits(n.Text, bits)
	if err != nil || n.Kind != document.Scalar || n.Quoted {
		l.Report(n, document.RuleWrongType, "%s must be a whole number that fits %d bits, such as 0x7F", what, bits)
	}
	return v
}
