package pack

import "fmt"

const markdownIntroduction = `# Quantities

Every value that a record can hold. This file is made from the catalogue in
` + "`decode/pack`" + ` by ` + "`go test ./decode/pack -run Generated -update`" + `: do not edit it. The
same catalogue gives the JSON Schema of a record, ` + "`docs/status.schema.json`" + `.

A record is one flat JSON object. The ending of a key is its unit. A quantity
that is not known is absent, never 0. Current and power are positive while
charging. Cells, sensors and packs count from 1. Numbers are exact decimals:
they say what the wire said.

A value is overdue when the message that carries it is. What becomes of it then
stands in the last column:

- *marked*: the record keeps the value and lists its key under ` + "`stale`" + `. An
  output that cannot mark a value withholds it. Once no message of the pack is
  heard in time, the record keeps the texts, and only lists the other keys.
- *0* or *false*: a permission that is not renewed is withdrawn, never repeated.
  Its key is listed under ` + "`stale`" + `.
- *dropped*: the value is left out of every output. Its key is listed under
  ` + "`stale`" + `.
`

// groups are the headings of docs/quantities.md, in order.
var groups = []struct{ name, title string }{
	{"who", "Who the pack is"},
	{"terminals", "Terminals"},
	{"charge", "Charge"},
	{"cells", "Cells"},
	{"heat", "Temperatures"},
	{"permission", "What the pack permits and asks for"},
	{bankGroup, "Only in the record of a bank"},
}

// QuantitiesMarkdown is docs/quantities.md: the catalogue for readers.
func QuantitiesMarkdown() []byte {
	b := []byte(markdownIntroduction)
	for _, g := range groups {
		b = fmt.Appendf(b, "\n## %s\n\n| key | unit | shape | meaning | when overdue |\n|---|---|---|---|---|\n", g.title)
		for q := range Count {
			if r := q.Row(); r.Group == g.name {
				b = fmt.Appendf(b, "| `%s` | %s | %s | %s | %s |\n", r.Key, r.Unit, r.shape(), r.Doc, r.whenOverdue())
			}
		}
	}
	b = append(b, "\n## Other keys of a record\n\nNo mapping can write them.\n\n| key | unit | record | meaning |\n|---|---|---|---|\n"...)
	for _, k := range RecordKeys {
		b = fmt.Appendf(b, "| `%s` | %s | %s | %s |\n", k.Key, k.Unit, k.In, k.Doc)
	}
	for _, o := range objects {
		if !o.record {
			b = o.appendMarkdown(b)
		}
	}
	return appendAlarmKinds(b)
}

// appendMarkdown appends the table of an object inside a record.
func (o object) appendMarkdown(b []byte) []byte {
	b = fmt.Appendf(b, "\n### One %s: %s\n\n| key | unit | meaning |\n|---|---|---|\n", o.name, o.doc)
	for _, k := range o.keys() {
		b = fmt.Appendf(b, "| `%s` | %s | %s |\n", k.Key, k.Unit, k.Doc)
	}
	return b
}

func appendAlarmKinds(b []byte) []byte {
	b = append(b, "\n## Kinds of alarm\n\nThe list is closed. A protocol that does not tell cell from pack, or charge from\ndischarge, uses the general kind.\n\n"...)
	for _, kind := range alarmKinds {
		b = fmt.Appendf(b, "- `%s`\n", kind)
	}
	return b
}

// shape is the JSON form of the row's value, in words.
func (r *Row) shape() string {
	switch r.Kind {
	case Number:
		return "number"
	case Flag:
		return "true or false"
	case Word:
		return fmt.Sprintf("text, at most %d characters", MaxText)
	case Numbers:
		return fmt.Sprintf("array of numbers or null, at most %d", r.Max)
	default:
		return fmt.Sprintf("array of true, false or null, at most %d", r.Max)
	}
}

// whenOverdue is what becomes of the row's value, in a word.
func (r *Row) whenOverdue() string {
	switch {
	case r.Overdue == Withheld:
		return "dropped"
	case r.Overdue == Marked:
		return "marked"
	case r.Kind == Flag:
		return "false"
	default:
		return "0"
	}
}
