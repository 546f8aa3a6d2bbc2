package mapping

import (
	"slices"

	"packlink/mapping/document"
)

// depends reads what decides where a field lies, and whether it is there.
func (l *loader) depends(o *document.Object, f *Field) {
	if !l.registers {
		f.After = l.reference(o.Get("after"), "the name behind whose list a field stands (after)")
	}
	n := o.Get("when")
	if n == nil || l.Object(n, "when") == nil {
		return
	}
	if len(n.Pairs) != 1 {
		l.Report(n, RuleWhen, "a field depends on one other: {name: raw value}, or {name: [raw value, raw value]}")
		return
	}
	f.When = &When{Name: n.Pairs[0].Key.Text}
	raws := []*document.Node{n.Pairs[0].Value}
	if raws[0].Kind == document.List {
		raws = raws[0].Items
	}
	if len(raws) == 0 {
		l.Report(n, RuleWhen, "without a raw value the field would never be there")
	}
	for _, raw := range raws {
		f.When.Raws = append(f.When.Raws, l.raw(raw, "a raw value in when", 64))
	}
}

// reference reads the name of another field, "" if it is not given.
func (l *loader) reference(n *document.Node, what string) string {
	l.Takes(n, letForm)
	return l.Text(n, what)
}

// arrange finds what each field of a message lies behind: the list before it
// that the name in After counts.
func arrange(fields []Field) {
	lists := make(map[string]*Field) // by the name that counts them; of interleaved ones the first
	for i := range fields {
		f := &fields[i]
		if list := lists[f.After]; list != nil && len(list.ends()) <= MaxLets {
			f.base, f.Behind, f.behind = list.StartByte(0), list.ends(), list
		}
		if f.RepeatBy == "" {
			continue
		}
		if list := lists[f.RepeatBy]; list == nil || !list.interleaved(f) || f.At < list.At {
			lists[f.RepeatBy] = f
		}
	}
	followed := make(map[string]bool)
	for i := range fields {
		followed[fields[i].After] = true
	}
	for i := range fields {
		f := &fields[i]
		f.Followed = f.RepeatBy != "" && followed[f.RepeatBy]
	}
}

// interleaved tells whether elements of another list stand between those of f.
func (f *Field) interleaved(other *Field) bool {
	distance := max(f.At-other.At, other.At-f.At)
	return f.After == other.After && f.behind == other.behind && f.Step == other.Step && distance < f.Step
}

// ends are the lists that come before the end of the list f, itself included.
func (f *Field) ends() []Stride {
	if f.lists == nil {
		f.lists = slices.Clone(f.Behind)
		i := slices.IndexFunc(f.lists, func(s Stride) bool { return s.Name == f.RepeatBy })
		if i < 0 {
			i = len(f.lists)
			f.lists = append(f.lists, Stride{Name: f.RepeatBy, Least: f.Least, Most: f.Most})
		}
		f.lists[i].Bytes += f.Step
	}
	return f.lists
}

// excludes tells whether f is never there where the other is.
func (f *Field) excludes(other *Field) bool {
	if f.When == nil || other.When == nil || f.When.Name != other.When.Name {
		return false
	}
	return !slices.ContainsFunc(f.When.Raws, func(raw uint64) bool { return slices.Contains(other.When.Raws, raw) })
}
