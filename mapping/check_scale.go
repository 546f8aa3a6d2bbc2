package mapping

import "packlink/decode/pack"

// scale checks that the field's values are exact.
func (c *checker) scale(f *Field, lets map[string]*Field) {
	if f.ScaleBy != "" {
		c.power(f, lets[f.ScaleBy])
	}
	if f.Finest && (f.Type.Base != Signed || f.Derive != nil) {
		c.Report(at(f.Place, "write"), RuleScale, "only a power of ten, which is a signed field, is written as finest")
	}
	if f.Let != "" && f.Range != nil && (f.Range.Low.Exp != 0 || f.Range.High.Exp != 0) {
		c.Report(at(f.Place, "range"), RuleScale, "the range of a name (let) is of raw values: whole numbers")
		return
	}
	if f.Bit+f.Type.Bits <= 64 {
		if _, err := compileField(f, nil, false); err != nil {
			c.Report(f.Place, RuleScale, "%v", err)
		}
	}
	if f.swapsWords() && f.Bit+f.Type.Bits != 8*f.ContainerBytes() {
		c.Report(at(f.Place, "as"), RuleOrder, "a field whose words stand in another order than its bytes must fill its registers")
	}
}

// power checks the named field that gives a further power of ten.
func (c *checker) power(f, by *Field) {
	place := at(f.Place, "scale_by")
	switch {
	case by == nil:
		c.Report(place, RuleLet, "no field of the message is named %q: give one let: %s", f.ScaleBy, f.ScaleBy)
	case c.broken[by.Place]:
	case by.Derive != nil:
		c.Report(at(by.Place, "derive"), RuleDerive, "the power of ten %s cannot be derived; write: finest chooses it", f.ScaleBy)
	case by.Type.Base != Signed:
		c.Report(at(by.Place, "as"), RuleScale, "the power of ten %s must be a signed field, such as i16", f.ScaleBy)
	case by.Write != nil && outside(by):
		c.Report(at(by.Place, "write"), RuleScale, "the power of ten %s must lie between -%d and %d", f.ScaleBy, pack.MaxExp, pack.MaxExp)
	}
	for _, key := range []string{"offset", "range"} {
		if n := f.Place.Get(key); n != nil {
			c.Report(n, RuleScale, "%s cannot stand beside scale_by, as its own power of ten would be unknown", key)
		}
	}
}

// outside tells whether the power of ten that a field writes is beyond what a
// decimal can have.
func outside(by *Field) bool {
	unused := 64 - by.Type.Bits
	power := int64(by.Write.Raw<<unused) >> unused
	return power < -pack.MaxExp || power > pack.MaxExp
}

// repetition checks what a list is counted by.
func (c *checker) repetition(f *Field, lets map[string]*Field) {
	if f.RepeatBy == "" {
		return
	}
	by := lets[f.RepeatBy]
	switch {
	case by == nil:
		c.Report(at(f.Place, "repeat"), RuleLet, "no field of the message is named %q: give one let: %s", f.RepeatBy, f.RepeatBy)
	case c.broken[by.Place]:
	case by.Type.Base != Unsigned:
		c.Report(at(by.Place, "as"), RuleLet, "%s counts elements, so it must be an unsigned field, such as u8", f.RepeatBy)
	case by.Range == nil:
		c.Report(by.Place, RuleLet, "%s counts elements: say how many there can be, as in range: [1, 16]", f.RepeatBy)
	case by.Range.Low.Coef < 0 || f.Most == 0 || by.Range.High.Cmp(pack.Int(int64(f.Most))) != 0:
		c.Report(at(by.Place, "range"), RuleLet, "%s counts elements: its range must lie between 0 and %d", f.RepeatBy, pack.MaxCells)
	}
}

// swapsWords tells whether the field's words stand in another order than its
// bytes.
func (f *Field) swapsWords() bool {
	return f.Type.numeric() && f.Unit == 2 && f.ContainerBytes() > 2 && f.Little != f.LowFirst
}
