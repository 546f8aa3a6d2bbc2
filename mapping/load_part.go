package mapping

import (
	"regexp"
	"slices"

	"packlink/mapping/document"
	"packlink/mapping/framing"
)

var partName = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)

// The part that holds the payload, and keys of a message that no part can be
// called by.
const dataName = "data"

var takenNames = []string{"every", "timeout"}

// Half-bytes that a length counts as one.
var halves = map[string]int{"nibble": 1, "byte": 2, "word": 4}

// parts reads what a frame is made of.
func (l *loader) parts(nodes []*document.Node, b *SerialBus, layout *framing.Layout) {
	objects := make([]*document.Object, len(nodes))
	for i, n := range nodes {
		if objects[i] = l.Object(n, "a part"); objects[i] == nil {
			continue
		}
		p := framing.Part{Name: l.partName(objects[i], layout.Parts)}
		l.role(objects[i], &p)
		if is := objects[i].Choice("is", "address"); is != "" {
			l.addressPart(objects[i].Node, i, &p, b)
		}
		layout.Parts = append(layout.Parts, p)
	}
	if len(layout.Parts) < len(nodes) {
		return
	}
	for i, o := range objects {
		l.reach(o, layout, i)
		o.Done()
	}
}

func (l *loader) partName(o *document.Object, earlier []framing.Part) string {
	name := o.NeedText("part")
	n := o.Node.Get("part")
	switch {
	case name == "":
	case !partName.MatchString(name):
		l.Report(n, RuleName, "a part's name must be small letters, digits and underscores; this is %q", name)
	case slices.Contains(takenNames, name):
		l.Report(n, RuleName, "%q is a key of a message already: choose another name", name)
	case slices.ContainsFunc(earlier, func(p framing.Part) bool { return p.Name == name }):
		l.Report(n, RuleTwice, "there are two parts named %q", name)
	}
	return name
}

// role reads what a part is: the data, constant bytes, or a number.
func (l *loader) role(o *document.Object, p *framing.Part) {
	switch {
	case p.Name == dataName:
		p.Role, p.Least, p.Most = framing.Data, 0, framing.MaxData
		if n := o.Get("size"); n != nil {
			p.Size = int(l.Int(n, "the size of the data", 0, framing.MaxData))
			p.Least, p.Most = p.Size, p.Size
		} else {
			p.Most = int(o.Int("most", framing.MaxData, 1, framing.MaxData))
		}
	case o.Node.Get("hex") != nil:
		before := l.Reports()
		p.Role, p.Bytes = framing.Constant, l.payload(o.Get("hex"))
		if p.Size = len(p.Bytes); p.Size == 0 && l.Reports() == before {
			l.Report(o.Node.Get("hex"), RuleFraming, "a constant has at least one byte")
		}
	default:
		l.number(o, p)
	}
}

// number reads a part that is a number: a value, a length or a check value.
func (l *loader) number(o *document.Object, p *framing.Part) {
	p.Role = framing.Value
	if as := o.Need("as"); as != nil {
		t := l.fieldType(as)
		if t.Base != Unsigned || t.Bits%8 != 0 {
			l.Report(as, RuleType, "a part is whole bytes: u8, u16, u24 and so on, not %s", t.Name)
		}
		p.Size = max(t.Bits/8, 1)
	}
	order := o.Choice("byte_order", "little", "big")
	p.Little = order == "little"
	if order == "" && p.Size > 1 {
		l.Report(o.Node, RuleOrder, "the part %s spans several bytes: say byte_order: little or big", p.Name)
	}
	switch {
	case o.Node.Get("counts") != nil:
		l.lengthPart(o, p)
	case o.Node.Get("sum") != nil || o.Node.Get("crc") != nil:
		l.checkPart(o, p)
	default:
		if n := o.Get("write"); n != nil {
			p.Write = l.raw(n, "write", 8*p.Size)
		}
	}
}

func (l *loader) lengthPart(o *document.Object, p *framing.Part) {
	p.Role, p.Halves = framing.Length, halves["byte"]
	p.Plus = int(o.Int("plus", 0, -framing.MaxData, framing.MaxData))
	if each := o.Choice("each", "nibble", "byte", "word"); each != "" {
		p.Halves = halves[each]
	}
	if o.Choice("guard", "nibbles") != "" {
		p.Guard = true
		if p.Size == 1 {
			l.Report(o.Node.Get("guard"), RuleFraming, "a guard takes four bits, and leaves a length of one byte only 15 values: it needs u16 or more")
		}
	}
}

// addressPart notes which part is the pack's address.
func (l *loader) addressPart(n *document.Node, i int, p *framing.Part, b *SerialBus) {
	switch {
	case p.Role != framing.Value || p.Size > 4:
		l.Report(n.Get("is"), RuleFraming, "the address is a number of at most four bytes that is no length and no check value")
	case b.Address >= 0:
		l.Report(n.Get("is"), RuleTwice, "two parts are the address")
	}
	b.Address = i
}

// reach reads which parts a length counts, and which a check value is over.
func (l *loader) reach(o *document.Object, layout *framing.Layout, i int) {
	p := &layout.Parts[i]
	switch p.Role {
	case framing.Length:
		p.From, p.To = l.partRange(o, "counts", layout.Parts)
	case framing.Check:
		p.From, p.To = l.partRange(o, "over", layout.Parts)
	}
}

func (l *loader) partRange(o *document.Object, key string, parts []framing.Part) (from, to int) {
	n := o.Need(key)
	switch {
	case n == nil:
		return 0, 0
	case n.Kind == document.List && len(n.Items) == 2:
		from, to = l.partIndex(n.Items[0], parts), l.partIndex(n.Items[1], parts)
	default:
		from = l.partIndex(n, parts)
		to = from
	}
	if from < 0 || to < 0 {
		return 0, 0
	}
	if from > to {
		l.Report(n, RuleFraming, "the part %s stands behind %s: write the first part first", parts[from].Name, parts[to].Name)
		return to, from
	}
	return from, to
}

func (l *loader) partIndex(n *document.Node, parts []framing.Part) int {
	l.Takes(n, document.Form{Type: "text", Pattern: partName.String()})
	i := slices.IndexFunc(parts, func(p framing.Part) bool { return p.Name == n.Text })
	if i < 0 || n.Kind != document.Scalar {
		l.Report(n, RuleFraming, "there is no part named %q: write the name of one, or [first, last]", n.Text)
		return -1
	}
	return i
}
