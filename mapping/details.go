package mapping

import (
	"fmt"
	"strings"

	"packlink/decode/pack"
)

// details are what a table says of a field beside its place, type and subject.
func (f *Field) details() string {
	var ps phrases
	ps.value(f)
	ps.raws(f)
	ps.presence(f)
	ps.writing(f)
	return strings.Join(append(append(ps, f.orders()...), f.spread()...), ", ")
}

// phrases are said one behind the other.
type phrases []string

func (ps *phrases) add(format string, args ...any) { *ps = append(*ps, fmt.Sprintf(format, args...)) }

// value says how a value follows from the raw number, and where it may lie.
func (ps *phrases) value(f *Field) {
	if f.Scale != pack.Int(1) {
		ps.add("x %s", f.Scale)
	}
	if f.ScaleBy != "" {
		ps.add("x 10^%s", f.ScaleBy)
	}
	if f.Offset.Coef > 0 {
		ps.add("+ %s", f.Offset)
	} else if f.Offset.Coef < 0 {
		ps.add("- %s", pack.Decimal{Coef: -f.Offset.Coef, Exp: f.Offset.Exp})
	}
	if f.Target != nil && f.Target.Quantity.Row().Unit != "" {
		ps.add("%s", f.Target.Quantity.Row().Unit)
	}
	if f.SignGiven {
		ps.add("on the wire %s", f.direction())
	}
	if f.Range != nil {
		ps.add("plausible %s to %s", f.Range.Low, f.Range.High)
	}
}

// raws says what single raw values mean.
func (ps *phrases) raws(f *Field) {
	if f.Type.Base == Pairs {
		ps.add("%02b: on, %02b: off", f.On, f.Off)
	} else if f.Type.Base == Unsigned && len(f.Alarms) > 0 {
		ps.add("%d: none", f.Off)
	}
	for _, v := range f.Values {
		ps.add("%s: %s", v.key(), v.value(f))
	}
	if f.Date != 0 {
		ps.add("%s", f.date())
	}
	for _, r := range f.Missing {
		ps.add("%s: not available", r)
	}
}

// presence says when the field is there.
func (ps *phrases) presence(f *Field) {
	if f.Page != "" {
		ps.add("part %s of %d to %d", f.Page, f.PageFirst, f.PageFirst+f.Pages-1)
	}
	if f.When != nil {
		ps.add("when %s is %X", f.When.Name, f.When.Raws)
	}
	if f.Optional {
		ps.add("may be left off")
	}
}

// writing says what is written.
func (ps *phrases) writing(f *Field) {
	if f.Derive != nil {
		ps.add("derived from %s", f.Derive)
		if unit := f.Derive.Unit(); unit != "" {
			ps.add("%s", unit)
		}
		for _, w := range f.Derive.Words {
			ps.add("%d: %s", w.Raw, w.Word)
		}
	}
	if f.Finest {
		ps.add("the power that loses no digit")
	}
	if f.Rolling {
		ps.add("goes up by one with each frame")
	}
	if f.Write != nil && f.Type.Base == Text {
		ps.add("else written as %q", f.Write.Text)
	} else if f.Write != nil {
		ps.add("else written as %X", f.Write.Raw)
	}
	if f.Pad != 0 {
		ps.add("filled up with blanks")
	}
}
