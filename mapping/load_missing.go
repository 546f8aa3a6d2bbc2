package mapping

import "packlink/mapping/document"

// missingByType reads which raw values mean "not available" in every field of
// a type.
func (l *loader) missingByType(n *document.Node) map[string][]Raws {
	if n == nil || l.Object(n, `"missing"`) == nil {
		return nil
	}
	values := make(map[string][]Raws)
	for _, p := range n.Pairs {
		t := l.fieldType(p.Key)
		if !t.numeric() {
			l.Report(p.Key, RuleType, "a text is missing if it is empty; missing is for numbers and bits")
			continue
		}
		values[p.Key.Text] = l.missingRaws(p.Value, `"missing" of `+p.Key.Text, t)
	}
	return values
}

// missingRaws reads which raw values mean "not available": single ones and
// [first, last].
func (l *loader) missingRaws(n *document.Node, what string, t Type) []Raws {
	all := []Raws{}
	for i, item := range l.List(n, what) {
		if item.Kind != document.List {
			raw := l.raw(item, what, t.Bits)
			all = append(all, Raws{raw, raw})
			continue
		}
		if i == 0 {
			l.Report(item, RuleMeaning, "the first of %s is what is written, so it is one raw value, such as 0xFFFF; [first, last] can follow", what)
		}
		all = append(all, l.raws(item, what, t))
	}
	return all
}

// raws reads a range of raw values.
func (l *loader) raws(n *document.Node, what string, t Type) (r Raws) {
	if t.Base != Unsigned && t.Base != Signed {
		l.Report(n, RuleType, "[first, last] in %s is for u and i types, whose raw values follow one another", what)
		return r
	}
	if len(n.Items) != 2 {
		l.Report(n, document.RuleWrongType, "a range in %s must be [first, last], such as [0xFB00, 0xFFFE]", what)
		return r
	}
	before := l.Reports()
	r = Raws{l.raw(n.Items[0], what, t.Bits), l.raw(n.Items[1], what, t.Bits)}
	if l.Reports() == before && r.First >= r.Last {
		l.Report(n, document.RuleWrongType, "the first raw value of a range must be less than its last; these are %#x and %#x", r.First, r.Last)
	}
	return r
}
