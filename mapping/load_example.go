package mapping

import (
	"encoding/hex"
	"maps"
	"math"
	"slices"
	"strings"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

// example reads an example, and tells whether it holds under the options chosen.
func (l *loader) example(n *document.Node) (e Example, holds bool) {
	e.Place = n
	o := l.Object(n, "an example")
	if o == nil {
		return e, true
	}
	if l.serial != nil {
		l.exampleFrame(o, &e)
	} else {
		e.Payload = l.payload(o.Need("hex"))
	}
	e.Address = int(o.Int("address", -1, 0, math.MaxUint32))
	e.Source = o.NeedText("source")
	e.Gives = l.gives(o.Need("gives"))
	for _, each := range o.List("each_gives") {
		e.Each = append(e.Each, l.gives(each))
	}
	holds = l.with(o.Get("with"))
	o.Done()
	return e, holds
}

// with reads the choices under which an example holds, which are the defaults if
// it says no others, and tells whether they are those chosen.
func (l *loader) with(n *document.Node) (holds bool) {
	choices := make(map[string]string)
	if n != nil && l.Object(n, "with") != nil {
		for _, p := range n.Pairs {
			choices[p.Key.Text] = l.Text(p.Value, "a choice")
			l.offers(p)
		}
	}
	if len(choices) > 0 && !slices.ContainsFunc(l.choices, func(c map[string]string) bool { return maps.Equal(c, choices) }) {
		if l.choices = append(l.choices, choices); len(l.choices) > MaxChosen {
			l.Report(n, RuleOption, "the examples hold under more than %d sets of choices", MaxChosen)
		}
	}
	return !slices.ContainsFunc(l.offered, func(o Option) bool {
		choice, other := choices[o.Name]
		return other && choice != o.Chosen || !other && o.Chosen != o.Default
	})
}

// offers notes a choice that the file does not offer.
func (l *loader) offers(p document.Pair) {
	i := slices.IndexFunc(l.offered, func(o Option) bool { return o.Name == p.Key.Text })
	switch {
	case i < 0:
		l.Report(p.Key, RuleOption, "the file has no option %q", p.Key.Text)
	case !slices.Contains(l.offered[i].Choices, p.Value.Text):
		l.Report(p.Value, RuleOption, "option %s must be %s, not %q", p.Key.Text, strings.Join(l.offered[i].Choices, " or "), p.Value.Text)
	}
}

// exampleFrame reads the frame of an example and the question that it answers,
// as they stand on the line.
func (l *loader) exampleFrame(o *document.Object, e *Example) {
	text := o.Get("text")
	if text != nil {
		e.Payload = []byte(l.Text(text, "the text of an example"))
	}
	n := o.Get("hex")
	if n != nil {
		e.Payload = l.payload(n)
	}
	if (text == nil) == (n == nil) {
		l.Report(o.Node, RuleExample, "give the frame as it stands on the line, as hex or as text")
	}
	asks := o.Get("asks")
	switch {
	case asks == nil:
	case text != nil:
		e.Asks = []byte(l.Text(asks, "the question of an example"))
	default:
		e.Asks = l.payload(asks)
	}
}

func (l *loader) payload(n *document.Node) []byte {
	if n == nil {
		return nil
	}
	l.Takes(n, document.Form{Type: "text", Pattern: `^\s*([0-9A-Fa-f]\s*[0-9A-Fa-f]\s*)*$`})
	payload, err := hex.DecodeString(strings.Join(strings.Fields(n.Text), ""))
	if n.Kind != document.Scalar || err != nil {
		l.Report(n, document.RuleWrongType, "hex must be pairs of hexadecimal digits, such as 94 14 7C FF, without 0x")
	}
	return payload
}

func (l *loader) gives(n *document.Node) (all []Given) {
	if n == nil || l.Object(n, "gives") == nil {
		return nil
	}
	for _, p := range n.Pairs {
		all = append(all, l.given(p))
	}
	return all
}

func (l *loader) given(p document.Pair) Given {
	g := Given{Place: p.Value, Key: p.Key.Text}
	if g.Key == alarmsKey {
		for _, item := range l.List(p.Value, "alarms of an example") {
			if a, ok := l.alarm(item); ok {
				g.Alarms = append(g.Alarms, a)
			}
		}
		return g
	}
	if _, is := parseTargetKey(g.Key); is {
		g.Target = l.target(p.Key)
	}
	values := []*document.Node{p.Value}
	if p.Value.Kind == document.List && g.Target != nil && g.Target.Quantity.Row().Kind.List() {
		values = p.Value.Items
	}
	for _, v := range values {
		if v.Text == "null" {
			l.Takes(v, document.Form{Type: "null"})
		}
		l.Takes(v, document.Form{Type: "text"})
		if v.Kind != document.Scalar {
			l.Report(v, document.RuleWrongType, "%s must be given a single value; this is %s", g.Key, v.Kind)
		}
		g.Texts = append(g.Texts, canonical(v, g.Target))
	}
	return g
}

// canonical is a value as it stands in a record: a number in its shortest form,
// a text as it is.
func canonical(n *document.Node, t *Target) string {
	text := t != nil && t.Quantity.Row().Kind == pack.Word
	if d, err := pack.ParseDecimal(n.Text); err == nil && !n.Quoted && !text {
		return d.String()
	}
	return n.Text
}
