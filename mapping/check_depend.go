package mapping

import (
	"math"
	"slices"

	"packlink/decode/pack"
)

// depends checks what decides where a field lies, and whether it is there.
func (c *checker) depends(fields []Field, i int, lets map[string]*Field) {
	f := &fields[i]
	if f.After != "" && f.behind == nil {
		c.Report(at(f.Place, "after"), RuleLet, "no list before this field is counted by %q: write repeat: %s there", f.After, f.After)
	}
	if f.Page != "" {
		c.page(f, lets[f.Page])
		if j := slices.IndexFunc(fields[:i], func(other Field) bool { return other.Page != "" }); j >= 0 && fields[j].Page != f.Page {
			c.Report(at(f.Place, "page"), RuleLet, "the lists of a message come in the same parts: %s says already which", fields[j].Page)
		}
	}
	if f.When != nil {
		c.when(f, fields[i:], lets[f.When.Name])
	}
}

// page checks the field that says which part of a list a payload has.
func (c *checker) page(f, by *Field) {
	place := at(f.Place, "page")
	switch {
	case f.RepeatBy != "":
		c.Report(place, RuleLet, "a list in parts has as many elements in each: write repeat: and a number")
	case by == nil:
		c.Report(place, RuleLet, "no field of the message is named %q: give one let: %s", f.Page, f.Page)
	case c.broken[by.Place]:
	case by.Type.Base != Unsigned || by.Range == nil || by.Range.Low.Coef < 0:
		c.Report(by.Place, RuleLet, "%s says which part of a list this is, so it must be an unsigned field with a range, as in range: [0, 3]", f.Page)
	case by.Range.High.Cmp(pack.Int(pack.MaxCells)) > 0:
		c.Report(at(by.Place, "range"), RuleLet, "%s says which part of a list this is: its range must lie between 0 and %d", f.Page, pack.MaxCells)
	}
}

// when checks that a field can be there.
func (c *checker) when(f *Field, later []Field, by *Field) {
	place := at(f.Place, "when")
	name := f.When.Name
	switch {
	case by != nil && slices.ContainsFunc(later, func(other Field) bool { return other.Let == name }):
		c.Report(place, RuleWhen, "the field named %q stands at line %d: it must come before the fields that depend on it", name, by.Place.Line)
		return
	case by == nil:
		c.Report(place, RuleWhen, "no field before this one is named %q: give one let: %s", name, name)
		return
	case c.broken[by.Place]:
		return
	case by.Type.Base != Unsigned && by.Type.Base != Signed && by.Type.Base != FlagBits:
		c.Report(place, RuleWhen, "what a field depends on is a u, i or flags field; %s is %s", name, by.Type.Name)
		return
	}
	for i, raw := range f.When.Raws {
		switch {
		case raw > math.MaxUint64>>(64-by.Type.Bits):
			c.Report(place, RuleWhen, "%s has %d bits, and is never %#x", name, by.Type.Bits, raw)
		case slices.Contains(f.When.Raws[:i], raw):
			c.Report(place, RuleWhen, "%#x stands twice", raw)
		case by.missing(raw):
			c.Report(place, RuleWhen, "%#x means that %s is not available, so the field would never be there", raw, name)
		case by.Range != nil && !by.Range.holds(pack.Int(by.Whole(raw))):
			c.Report(place, RuleWhen, "%#x lies outside the range of %s, so the field would never be there", raw, name)
		}
	}
}

func (r *Range) holds(d pack.Decimal) bool { return d.Cmp(r.Low) >= 0 && d.Cmp(r.High) <= 0 }

// Whole is a raw value of an unsigned or a signed field as a number.
func (f *Field) Whole(raw uint64) int64 {
	if f.Type.Base != Signed {
		return int64(raw)
	}
	unused := 64 - f.Type.Bits
	return int64(raw<<unused) >> unused
}

// moving notes fields that stand at a fixed place behind the beginning of a list
// whose end other fields are counted from.
func (c *checker) moving(fields []Field) {
	var followed []*Field
	for i := range fields {
		if list := fields[i].behind; list != nil && !slices.Contains(followed, list) {
			followed = append(followed, list)
		}
	}
	for i := range fields {
		f := &fields[i]
		for _, list := range followed {
			if f.behind == list.behind && f.RepeatBy != list.RepeatBy && f.nearestEnd() > list.StartByte(0) && !f.excludes(list) {
				c.Report(at(f.Place, "at"), RuleOverlap, "the list at line %d can end sooner or later: say after: %s, and count from its end", list.Place.Line, list.RepeatBy)
				break
			}
		}
	}
}
