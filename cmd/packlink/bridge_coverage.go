package main

import (
	"fmt"
	"io"
	"strings"

	"packlink/decode"
	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/mapping"
)

// tellCoverage says what of all that the sources can know can reach whoever reads an
// output. What a pack sends of it is not known yet.
func tellCoverage(p *plan, o *outputPlan, log io.Writer) {
	if o.table == nil {
		return
	}
	told := make(map[string]bool)
	for i := range o.units {
		u := &o.units[i]
		text := strings.Join(coverageLines(coverage(p, o, u)), "\n      ")
		what := "the bank"
		if u.source != "" {
			what = u.text
		}
		if !told[text] {
			told[text] = true
			fmt.Fprintf(log, "    of %s, as far as the packs send it:\n      %s\n", what, text)
		}
	}
}

// coverage is what reaches the reader of one unit of an output.
func coverage(p *plan, o *outputPlan, u *shownUnit) *decode.Coverage {
	var tables []*mapping.Compiled
	var packs []pack.Status
	for i := range p.sources {
		s := &p.sources[i]
		if u.source != "" && u.source != s.name && !strings.HasPrefix(u.source, s.name+channelMark) {
			continue
		}
		known := decode.Knowable(s.table)
		known.Fresh = true
		known.Derive()
		tables, packs = append(tables, s.table), append(packs, *known)
	}
	each := new(pack.Status)
	for i := range packs {
		each = union(each, &packs[i])
	}
	whole := &bank.Sum(p.bank, p.nominal, 0, packs).Whole
	if u.source != "" {
		whole = each
	}
	return decode.Cover(whole, each, tables, o.table)
}

// union knows what either of two statuses knows.
func union(a, b *pack.Status) *pack.Status {
	for q := range pack.Count {
		switch row := q.Row(); {
		case !b.Has(q):
		case row.Kind == pack.Word:
			a.PutText(q, b.TextBytes(q), b.Value(q))
		case row.Kind.List():
			for i, v := range b.Elements(q) {
				a.PutElement(q, i, v)
			}
		default:
			a.Put(q, b.Value(q))
		}
	}
	a.Alarms.Known |= b.Alarms.Known
	return a
}

// coverageLines are what is known about a coverage as lines of text.
func coverageLines(c *decode.Coverage) []string {
	var reach, short, lost []string
	for _, r := range c.Reaches {
		reach = append(reach, reachText(&r))
		if r.Short {
			short = append(short, fmt.Sprintf("%s only from %s to %s", r.Quantity, r.Least, r.Most))
		}
	}
	for _, q := range c.Lost {
		lost = append(lost, q.String())
	}
	for a := range c.Alarms.All() {
		lost = append(lost, "alarm "+a.String())
	}
	lines := []string{"can reach: " + listed(reach)}
	if len(lost) > 0 {
		lines = append(lines, "lost: "+listed(lost))
	}
	if len(short) > 0 {
		lines = append(lines, "cannot hold every value: "+listed(short))
	}
	for _, u := range c.Unsent {
		lines = append(lines, fmt.Sprintf("message %q is never sent: %v", u.Message, u.Why))
	}
	return lines
}

// reachText is one quantity with its step: "voltage_v (in steps of 0.01 V)".
func reachText(r *decode.Reach) string {
	text := r.Quantity.String()
	if r.Elements > 0 {
		text += fmt.Sprintf("[1..%d]", r.Elements)
	}
	if r.Step.Coef != 0 {
		text += fmt.Sprintf(" (in steps of %s)", strings.TrimSpace(r.Step.String()+" "+r.Quantity.Row().Unit))
	}
	return text
}

func listed(words []string) string {
	if len(words) == 0 {
		return "nothing"
	}
	return strings.Join(words, ", ")
}
