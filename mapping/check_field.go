package mapping

import (
	"slices"

	"packlink/decode/pack"
)

// meaning checks that a field is one thing, and that its type can hold it.
func (c *checker) meaning(f *Field) {
	meanings := 0
	for _, is := range []bool{f.Let != "", f.Target != nil, f.Address, len(f.Alarms) > 0, f.Equals != nil} {
		if is {
			meanings++
		}
	}
	if meanings != 1 {
		c.Report(f.Place, RuleMeaning, "a field is one thing: a quantity or the address (is), a name (let), alarms or a constant (equals); this one is %d of them", meanings)
		return
	}
	if len(f.Alarms) > 0 && f.Type.Base != FlagBits && f.Type.Base != Pairs && f.Type.Base != Unsigned {
		c.Report(at(f.Place, "as"), RuleAlarm, "alarms stand in flags or pairs, or as codes in u1 to u64, not in %s", f.Type.Name)
	}
	if f.Target != nil {
		c.target(f)
	}
	if f.Let != "" && f.Type.Base == Float {
		c.Report(at(f.Place, "as"), RuleType, "a name (let) stands for a whole number; %s is a float", f.Type.Name)
	}
	if f.Address && (f.Type.Base != Unsigned || f.Type.Bits > mostAddressBits) {
		c.Report(at(f.Place, "as"), RuleType, "an address is a whole number, u1 to u%d, not %s", mostAddressBits, f.Type.Name)
	}
	c.effects(f)
	c.unread(f)
	if f.Rolling {
		c.rolling(f)
	}
	c.derived(f)
	if f.Type.Base == Text {
		c.text(f)
	}
}

// derived checks what a field is derived from.
func (c *checker) derived(f *Field) {
	d := f.Derive
	if d == nil {
		return
	}
	place := at(f.Place, "derive")
	if f.Let == "" || f.Type.Base != Unsigned && f.Type.Base != Signed {
		c.Report(place, RuleDerive, "only a number that is named (let) is derived")
	}
	if flows := d.Of == pack.Current || d.Of == pack.Power; flows && d.signed() && !f.SignGiven {
		c.Report(place, RuleSign, "say which way is positive: sign: charge-positive or sign: discharge-positive")
	}
	if !d.number() && len(d.Words) == 0 {
		c.Report(place, RuleDerive, "say which raw value stands for which word, as in values: {1: %s}", Figures[d.Figure].Words[0])
	}
}

// shapes are the types that each kind of quantity can be read from.
var shapes = map[pack.Kind][]Base{
	pack.Number:  {Unsigned, Signed, BCD, SignMagnitude, Float},
	pack.Numbers: {Unsigned, Signed, BCD, SignMagnitude, Float},
	pack.Flag:    {Unsigned},
	pack.Flags:   {FlagBits},
	pack.Word:    {Text, Unsigned, BCD},
}

func (c *checker) target(f *Field) {
	q := f.Target.Quantity
	row := q.Row()
	allowed, flag := shapes[row.Kind], row.Kind == pack.Flag
	if c.inCell && row.Kind == pack.Flags {
		allowed, flag = shapes[pack.Flag], true
	}
	signedDate := f.Date != 0 && f.Type.Base == Signed
	if !slices.Contains(allowed, f.Type.Base) && !signedDate {
		c.Report(at(f.Place, "as"), RuleType, "%s cannot be read from %s", q, f.Type.Name)
		return
	}
	if c.inCell && (!row.Kind.List() || f.Target.Element > 0 || f.Place.Get("repeat") != nil) {
		c.Report(at(f.Place, "is"), RuleMeaning, "a field of each_cell is one element of a list, such as cells_v[]")
	}
	if flag && f.Type.Bits > 1 && len(f.Values) == 0 {
		c.Report(at(f.Place, "is"), RuleMeaning, "%s is true or false: say which raw value is which, as in values: {0: false, 1: true}", q)
	}
	if (q == pack.Current || q == pack.Power) && !f.SignGiven {
		c.Report(at(f.Place, "is"), RuleSign, "say which way is positive: sign: charge-positive or sign: discharge-positive")
	}
	if q == pack.MadeOn && f.Type.Base != Text && f.Date == 0 {
		c.Report(at(f.Place, "is"), RuleMeaning, "say how the number is a date: date: packed, date: days or date: digits")
	}
	if row.Kind == pack.Word && f.Type.Base != Text && f.Target.Element > 0 {
		c.Report(at(f.Place, "is"), RuleMeaning, "a number gives the whole of %s; only text comes in pieces", q)
	}
	elements := f.Repetitions() * max(f.Pages, 1)
	if row.Kind == pack.Flags && !flag {
		elements = f.Type.Bits
	}
	if row.Kind.List() && f.Target.Element+elements > row.Max {
		c.Report(at(f.Place, "is"), RuleBounds, "%s holds at most %d elements; this field goes to %d", q, row.Max, f.Target.Element+elements)
	}
}

// effects notes keys that say something which has no effect on what the field
// is.
func (c *checker) effects(f *Field) {
	kind := pack.Kind(0)
	if f.Target != nil {
		kind = f.Target.Quantity.Row().Kind
	}
	number := kind == pack.Number || kind == pack.Numbers || f.Derive.number()
	limited := f.Derive == nil && (number || f.Let != "" && f.Type.Base != Text)
	words := f.Derive != nil && !f.Derive.number()
	word := kind == pack.Word && f.Type.Base != Text
	digits := word && f.Date == 0 && len(f.Values) == 0
	varies := !f.Address && f.Equals == nil
	for _, key := range []struct {
		name   string
		taken  bool
		belong string
	}{
		{"scale", number || digits, "quantities that are numbers"},
		{"offset", number || digits, "quantities that are numbers"},
		{"scale_by", number || digits, "quantities that are numbers"},
		{"sign", number, "quantities that are numbers"},
		{"range", limited, "numbers that are read"},
		{"values", kind == pack.Flag || kind == pack.Flags && c.inCell || words || word && f.Date == 0, "quantities that are true or false, and numbers that stand for a text or a word"},
		{"date", word && f.Target.Quantity == pack.MadeOn, "made_on as a number"},
		{"since", f.Date != Digits, "dates whose years count from one"},
		{"repeat", kind == pack.Numbers || len(f.Alarms) > 0 && f.Type.Base == Unsigned, "lists of numbers and codes of alarms"},
		{"missing", f.Type.Base != Text && varies, "numbers and bits; a text is missing if it is empty"},
		{"pad", f.Type.Base == Text, "texts"},
		{"optional", varies, "fields that can be left off"},
		{"write", f.Equals == nil, "fields that vary"},
		{"after", varies, "quantities, names and alarms"},
		{"when", varies, "quantities, names and alarms"},
		{"page", kind == pack.Numbers, "lists of numbers"},
		{"rolling", f.Let != "" && f.Type.Base == Unsigned, "names (let) of whole numbers that are not negative, such as u8"},
		{"bit", f.Type.Base != Text, "numbers and bits; a text begins at a whole byte"},
	} {
		if n := f.Place.Get(key.name); n != nil && !key.taken {
			c.Report(n, RuleMeaning, "%s has no effect here; it is for %s", key.name, key.belong)
		}
	}
}

// rolling notes what says something of a counter's values, which may be anything.
func (c *checker) rolling(f *Field) {
	for _, key := range []string{"missing", "range", "write"} {
		if n := f.Place.Get(key); n != nil {
			c.Report(n, RuleMeaning, "%s has no effect on a rolling counter, which goes up by itself and may be anything", key)
		}
	}
}

// text checks that a text fits where it goes, and that no letter is missing before a
// piece of one.
func (c *checker) text(f *Field) {
	if f.Target != nil && f.Target.Element+f.Type.Bits/8 > pack.MaxText {
		c.Report(at(f.Place, "as"), RuleBounds, "%s holds at most %d bytes; this field goes to %d", f.Target.Quantity, pack.MaxText, f.Target.Element+f.Type.Bits/8)
	} else if f.Target != nil && f.Target.Element > 0 && !c.anyBroken && c.pieces.bytes[f.Target.Quantity]>>(f.Target.Element-1)&1 == 0 {
		c.Report(at(f.Place, "is"), RuleBounds, "no field gives %s[%d], which comes before this piece", f.Target.Quantity, f.Target.Element)
	}
	if f.Write != nil && len(f.Write.Text) > f.Type.Bits/8 {
		c.Report(at(f.Place, "write"), RuleBounds, "%q has %d bytes; the field has %d", f.Write.Text, len(f.Write.Text), f.Type.Bits/8)
	}
}
