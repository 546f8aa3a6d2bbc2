package mapping

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

func (l *loader) field(n *document.Node) Field {
	f := Field{Place: n, Scale: pack.Int(1), Unit: 1}
	if l.registers {
		f.Unit = 2
	}
	o := l.Object(n, "a field")
	if o == nil {
		return f
	}
	f.At = int(o.NeedInt("at", 0, math.MaxUint16))
	f.Bit = int(o.Int("bit", 0, 0, 63))
	if as := o.Need("as"); as != nil {
		f.Type = l.fieldType(as)
	}
	f.Optional = o.Flag("optional")
	l.order(o, &f)
	l.meaning(o, &f)
	l.scaling(o, &f)
	l.special(o, &f)
	l.repetition(o, &f)
	o.Done()
	return f
}

// order reads byte and word order, which a field inherits from the file.
func (l *loader) order(o *document.Object, f *Field) {
	bytes, words := o.Choice("byte_order", "little", "big"), o.Choice("word_order", "low-first", "high-first")
	if bytes == "" {
		bytes = l.byteOrder
	}
	if words == "" {
		words = l.wordOrder
	}
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

var targetKey = regexp.MustCompile(`^([a-z_]+)(?:\[(\d*)\])?$`)

// parseTargetKey splits cells_v[5] into its key and element.
func parseTargetKey(text string) (parts []string, is bool) {
	parts = targetKey.FindStringSubmatch(text)
	if parts == nil {
		return nil, false
	}
	_, is = pack.ByKey(parts[1])
	return parts, is
}

// target reads a quantity's key: voltage_v, cells_v[] or cells_v[5].
func (l *loader) target(n *document.Node) *Target {
	parts, is := parseTargetKey(n.Text)
	if !is {
		l.Report(n, RuleQuantity, "%q is no quantity; the catalogue is docs/quantities.md%s", n.Text, nearest(n.Text))
		return nil
	}
	q, _ := pack.ByKey(parts[1])
	t := &Target{Quantity: q}
	row := q.Row()
	if (row.Kind.List() || row.Kind == pack.Word) && parts[2] != "" {
		element, _ := strconv.Atoi(parts[2])
		t.Element = element - 1
	}
	most := row.Max
	if row.Kind == pack.Word {
		most = pack.MaxText
	}
	if most > 0 && (t.Element < 0 || t.Element >= most) {
		l.Report(n, RuleQuantity, "%s counts from 1 to %d", parts[1], most)
	}
	if most == 0 && strings.Contains(n.Text, "[") {
		l.Report(n, RuleQuantity, "%s is a single value, without [ ]", parts[1])
	}
	return t
}

// nearest proposes the quantity whose key shares the most letters at its start.
func nearest(text string) string {
	best, most := "", 2
	for q := range pack.Count {
		key, same := q.String(), 0
		for same < min(len(key), len(text)) && key[same] == text[same] {
			same++
		}
		if same > most {
			best, most = key, same
		}
	}
	if best == "" {
		return ""
	}
	return "; perhaps " + best
}

// meaning reads what a field is: a quantity, a name for later, alarms.
func (l *loader) meaning(o *document.Object, f *Field) {
	f.Let = o.Text("let")
	if is := o.Get("is"); is != nil {
		f.Target = l.target(is)
	}
	f.On, f.Off = 1, 0
	if f.Type.Base == Pairs {
		f.On, f.Off = uint64(o.Int("on", 1, 0, 3)), uint64(o.Int("off", 2, 0, 3))
	}
	n := o.Get("alarms")
	if n == nil || l.Object(n, "alarms") == nil {
		return
	}
	for _, p := range n.Pairs {
		slot := int(l.Int(p.Key, "an alarm's place", 0, 63))
		several := []*document.Node{p.Value}
		if len(p.Value.Items) > 0 && p.Value.Items[0].Kind == document.List {
			several = p.Value.Items
		}
		for i, item := range several {
			if a, ok := l.alarm(item); ok {
				f.Alarms = append(f.Alarms, AlarmSlot{slot, a, i == 0})
			}
		}
	}
}

func (l *loader) alarm(n *document.Node) (pack.Alarm, bool) {
	items := l.List(n, "an alarm")
	if len(items) != 2 {
		l.Report(n, RuleAlarm, "an alarm is [kind, level], such as [cell_overvoltage, protection]")
		return pack.Alarm{}, false
	}
	a, ok := pack.ParseAlarm(items[0].Text, items[1].Text)
	if !ok {
		l.Report(n, RuleAlarm, "%s %s is no alarm; the kinds are %s; the levels are %s", items[0].Text, items[1].Text,
			strings.Join(pack.AlarmKinds(), ", "), strings.Join(pack.AlarmLevels(), ", "))
	}
	return a, ok
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
		f.Scale.Coef = -f.Scale.Coef
	}
	if n := o.Get("range"); n != nil {
		f.Range = l.valueRange(n)
	}
}

func (l *loader) decimal(n *document.Node, what string) pack.Decimal {
	d, err := pack.ParseDecimal(n.Text)
	if err != nil || n.Kind != document.Scalar {
		l.Report(n, document.RuleWrongType, "%s must be a plain decimal number, such as 0.1", what)
		return pack.Int(1)
	}
	return d
}

func (l *loader) valueRange(n *document.Node) *Range {
	items := l.List(n, "range")
	if len(items) != 2 {
		l.Report(n, document.RuleWrongType, "range must be [least, greatest]")
		return nil
	}
	r := &Range{l.decimal(items[0], "the least value"), l.decimal(items[1], "the greatest value")}
	if r.Low.Cmp(r.High) >= 0 {
		l.Report(n, RuleScale, "the range is empty: its first value must be less than its second")
	}
	return r
}

// special reads which raw values mean something of their own, and what is
// written where nothing is known.
func (l *loader) special(o *document.Object, f *Field) {
	f.Missing = l.missing[f.Type.Name]
	if n := o.Get("missing"); n != nil {
		f.Missing = l.rawList(n, "missing", f.Type.Bits)
	}
	if n := o.Get("values"); n != nil && l.Object(n, "values") != nil {
		for _, p := range n.Pairs {
			on := l.Choice(p.Value, "the meaning of a flag", "true", "false") == "true"
			f.Values = append(f.Values, FlagValue{l.raw(p.Key, "a raw value", f.Type.Bits), on})
		}
	}
	n := o.Get("write")
	switch {
	case n == nil:
	case f.Type.Base == Text:
		f.Write = &Constant{Text: l.Text(n, "write")}
	default:
		f.Write = &Constant{Raw: l.raw(n, "write", f.Type.Bits)}
	}
}

func (l *loader) rawList(n *document.Node, what string, bits int) []uint64 {
	raws := []uint64{}
	for _, item := range l.List(n, what) {
		raws = append(raws, l.raw(item, what, bits))
	}
	return raws
}

// raw reads a raw value of a field of so many bits; a negative one is its
// two's complement.
func (l *loader) raw(n *document.Node, what string, bits int) uint64 {
	if bits >= 64 {
		v, err := strconv.ParseUint(n.Text, 0, 64)
		if err != nil {
			l.Report(n, document.RuleWrongType, "%s must be a whole number of 64 bits", what)
		}
		return v
	}
	bits = max(bits, 1)
	return uint64(l.Int(n, what, -(1<<(bits-1)), 1<<bits-1)) & (1<<bits - 1)
}

// repetition reads how often a field is repeated to fill a list.
func (l *loader) repetition(o *document.Object, f *Field) {
	n := o.Get("repeat")
	f.Step = int(o.Int("step", int64(f.ContainerBytes()/f.Unit), 1, math.MaxUint16))
	if n == nil {
		return
	}
	if _, err := document.ParseInt(n.Text); err != nil && n.Kind == document.Scalar {
		f.RepeatBy = n.Text
		return
	}
	f.Repeat = int(l.Int(n, "repeat", 1, pack.MaxCells))
}
