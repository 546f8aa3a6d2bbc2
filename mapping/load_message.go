package mapping

import (
	"math"
	"time"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

// Periods after which a message counts as overdue, unless the file says.
const periodsUntilOverdue = 3

// overdueWithoutPeriod is the time-out of a message that has no period (chosen:
// long enough for a message that is sent when something changes).
const overdueWithoutPeriod = time.Minute

// ClassicBytes are the most bytes of a classic CAN frame (ISO 11898-1:2015, from
// memory).
const ClassicBytes = 8

// mostBytes are the most bytes of a CAN FD frame (the same).
const mostBytes = 64

func (l *loader) message(n *document.Node) Message {
	m := Message{Place: n, Drafted: true}
	o := l.Object(n, "a message")
	if o == nil {
		l.broken[n] = true
		return m
	}
	m.Name = o.NeedText("name")
	timing := l.match(o, &m)
	for _, f := range o.List("fields") {
		m.Fields = append(m.Fields, l.field(f))
	}
	m.Tests = tests(m.Fields)
	link(m.Fields, m.Fields)
	arrange(m.Fields)
	if m.CAN != nil {
		l.sourceAddress(&m)
	}
	if l.registers {
		l.block(o, &m)
	} else {
		l.frame(o, &m)
	}
	var ask *document.Node
	if !l.registers {
		ask = o.Get("ask")
	}
	if s := o.Get("source"); s != nil {
		m.Source = l.sources(s)
	}
	for _, e := range o.List("examples") {
		m.Drafted = false
		if e, holds := l.example(e); holds {
			m.Examples = append(m.Examples, e)
		}
	}
	o.Done()
	if timing != nil {
		l.timing(timing, &m, ask)
	}
	return m
}

// timing reads how often a message is sent, or asked for.
func (l *loader) timing(o *document.Object, m *Message, ask *document.Node) {
	m.Every, m.Timeout = o.Duration("every"), o.Duration("timeout")
	switch {
	case ask == nil:
	case l.serial != nil:
		l.ask(ask, m)
	default:
		l.question(ask, m)
	}
	switch {
	case m.Timeout > 0:
	case m.Every == 0:
		m.Timeout = overdueWithoutPeriod
	default:
		m.Timeout = periodsUntilOverdue * m.Every
	}
	if m.Timeout < m.Every {
		l.Report(o.Node.Get("timeout"), RuleTiming, "the message would be overdue after %v, before it is due after %v", m.Timeout, m.Every)
	}
	o.Done()
}

// block reads what only a block of registers has.
func (l *loader) block(o *document.Object, m *Message) {
	m.Each, m.Cells = l.group(o, "each_pack"), l.group(o, "each_cell")
	for _, group := range m.runs()[1:] {
		link(group, m.Fields)
	}
	if m.Read != nil {
		m.MinBytes, m.MaxBytes = 2*m.Read.Count, 2*m.Read.Count
	}
}

// group reads a run of fields that a model ends with.
func (l *loader) group(message *document.Object, key string) *Group {
	n := message.Get(key)
	if n == nil {
		return nil
	}
	o := l.Object(n, "a group")
	if o == nil {
		return nil
	}
	g := &Group{At: int(o.NeedInt("at", 0, math.MaxUint16)), Size: int(o.NeedInt("size", 1, math.MaxUint16))}
	for _, f := range o.NeedList("fields") {
		g.Fields = append(g.Fields, l.field(f))
	}
	o.Done()
	return g
}

// frame reads what only a frame has.
func (l *loader) frame(o *document.Object, m *Message) {
	m.ByReader = o.Choice("by", "pack", "reader") == "reader"
	m.Fill = byte(o.Int("fill", 0, 0, math.MaxUint8))
	for i := range m.Fields {
		if f := &m.Fields[i]; !f.Optional {
			m.MinBytes = max(m.MinBytes, f.EndByte())
		}
	}
	least, most := int64(0), int64(mostBytes)
	m.MaxBytes = ClassicBytes
	switch {
	case l.serial != nil:
		d := l.serial.Format.DataPart()
		m.MinBytes, m.MaxBytes, most = max(m.MinBytes, d.Least), d.Most, int64(d.Most)
	case m.CAN != nil && m.CAN.Transfer != OneFrame:
		t := m.CAN.Transfer
		least, most = int64(t.Least()), int64(t.Most())
		m.MinBytes, m.MaxBytes = max(m.MinBytes, t.Least()), t.Most()
	}
	n, before := o.Get("length"), l.Reports()
	switch {
	case n == nil:
	case n.Kind == document.List && len(n.Items) == 2:
		m.MinBytes = int(l.Int(n.Items[0], "the least length", least, most))
		m.MaxBytes = int(l.Int(n.Items[1], "the greatest length", int64(m.MinBytes), most))
	default:
		m.MaxBytes = int(l.Int(n, `"length" (bytes, or [least, greatest])`, least, most))
		m.MinBytes = m.MaxBytes
	}
	if l.Reports() > before {
		l.broken[m.Place] = true
	}
}

// runs are the fields of the message, and those of each of its groups.
func (m *Message) runs() [][]Field {
	runs := [][]Field{m.Fields}
	for _, g := range []*Group{m.Each, m.Cells} {
		if g != nil {
			runs = append(runs, g.Fields)
		}
	}
	return runs
}

// link finds what the named fields say of the fields that name them: how many
// elements a counted list can have, how many parts there are, and what a field
// depends on.
func link(fields, named []Field) {
	lets := make(map[string]*Field)
	for i := range named {
		if name := named[i].Let; name != "" && lets[name] == nil {
			lets[name] = &named[i]
		}
	}
	for i := range fields {
		f := &fields[i]
		if count := lets[f.RepeatBy]; count != nil && count.Range != nil {
			f.Least, f.Most = elements(count.Range.Low), elements(count.Range.High)
		}
		if page := lets[f.Page]; page != nil && page.Range != nil {
			f.PageFirst = elements(page.Range.Low)
			f.Pages = elements(page.Range.High) - f.PageFirst + 1
		}
		if f.When != nil {
			f.When.by = lets[f.When.Name]
		}
	}
}

// elements is a number of elements, 0 if it is none.
func elements(d pack.Decimal) int {
	n, fits := d.Rescale(0)
	if !fits {
		return 0
	}
	return int(min(max(n, 0), pack.MaxCells))
}
