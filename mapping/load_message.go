package mapping

import (
	"encoding/hex"
	"math"
	"strings"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

// Periods after which a message counts as overdue, unless the file says.
const periodsUntilOverdue = 3

func (l *loader) message(n *document.Node) Message {
	m := Message{Place: n}
	o := l.Object(n, "a message")
	if o == nil {
		return m
	}
	m.Name = o.NeedText("name")
	timing := l.match(o, &m)
	m.ByReader = o.Choice("by", "pack", "reader") == "reader"
	m.Fill = byte(o.Int("fill", 0, 0, math.MaxUint8))
	for _, f := range o.List("fields") {
		m.Fields = append(m.Fields, l.field(f))
	}
	if each := o.Get("each_pack"); each != nil {
		m.Each = l.group(each)
	}
	l.length(o, &m)
	if s := o.Get("source"); s != nil {
		m.Source = l.sources(s)
	}
	for _, e := range o.List("examples") {
		m.Examples = append(m.Examples, l.example(e))
	}
	o.Done()
	if timing != nil {
		m.Every, m.Timeout = timing.Duration("every"), timing.Duration("timeout")
		timing.Done()
	}
	if m.Timeout == 0 {
		m.Timeout = periodsUntilOverdue * m.Every
	}
	return m
}

// match reads what tells a message from others, and returns the map that holds
// its timing too.
func (l *loader) match(o *document.Object, m *Message) *document.Object {
	key := "can"
	if l.registers {
		key = "read"
	}
	n := o.Need(key)
	if n == nil {
		return nil
	}
	match := l.Object(n, key)
	if match == nil {
		return nil
	}
	if l.registers {
		m.Read = l.read(match)
	} else {
		m.CAN = l.canMatch(match)
	}
	return match
}

func (l *loader) canMatch(o *document.Object) *CANMatch {
	bits := o.Int("id_bits", int64(l.idBits), 11, 29)
	c := &CANMatch{Extended: bits == 29}
	c.ID = uint32(o.NeedInt("id", 0, 1<<bits-1))
	if n := o.Get("address"); n != nil {
		a := l.Object(n, "address")
		if a == nil {
			return c
		}
		c.AddressBit = int(a.NeedInt("bit", 0, bits-1))
		c.AddressWidth = int(a.NeedInt("width", 1, min(16, bits-int64(c.AddressBit))))
		a.Done()
		if c.ID&^c.Mask() != 0 {
			l.Report(o.Node.Get("id"), RuleMatch, "the id has bits where the address stands: write 0 there")
		}
	}
	return c
}

func (l *loader) read(o *document.Object) *Read {
	r := &Read{Model: int(o.Int("model", 0, 1, math.MaxUint16-1))}
	if r.Model == 0 {
		r.From = int(o.NeedInt("from", 0, math.MaxUint16))
	}
	r.Count = int(o.NeedInt("count", 1, math.MaxUint16-int64(r.From)+1))
	return r
}

func (l *loader) group(n *document.Node) *Group {
	o := l.Object(n, "each_pack")
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

// length takes the bytes a payload may have: as the file says, or from the end
// of the last field that must be there.
func (l *loader) length(o *document.Object, m *Message) {
	n := o.Get("length")
	if m.Read != nil {
		m.MinBytes, m.MaxBytes = 2*m.Read.Count, 2*m.Read.Count
		return
	}
	for i := range m.Fields {
		if f := &m.Fields[i]; !f.Optional {
			m.MinBytes = max(m.MinBytes, f.EndByte())
		}
	}
	m.MaxBytes = 8
	if n == nil {
		return
	}
	if n.Kind == document.List && len(n.Items) == 2 {
		m.MinBytes = int(l.Int(n.Items[0], "the least length", 0, 64))
		m.MaxBytes = int(l.Int(n.Items[1], "the greatest length", int64(m.MinBytes), 64))
		return
	}
	m.MaxBytes = int(l.Int(n, `"length" (bytes, or [least, greatest])`, 0, 64))
	m.MinBytes = m.MaxBytes
}

func (l *loader) example(n *document.Node) Example {
	e := Example{Place: n}
	o := l.Object(n, "an example")
	if o == nil {
		return e
	}
	if digits := o.Need("hex"); digits != nil {
		payload, err := hex.DecodeString(strings.Join(strings.Fields(digits.Text), ""))
		if err != nil {
			l.Report(digits, document.RuleWrongType, "hex must be pairs of hex digits: %v", err)
		}
		e.Payload = payload
	}
	e.Address = int(o.Int("address", 0, 0, math.MaxUint16))
	e.Source = o.NeedText("source")
	e.Gives = l.gives(o.Need("gives"))
	for _, each := range o.List("each_gives") {
		e.Each = append(e.Each, l.gives(each))
	}
	o.Done()
	return e
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
	if g.Key == "alarms" {
		for _, item := range l.List(p.Value, "alarms") {
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
	if p.Value.Kind == document.List {
		values = p.Value.Items
	}
	for _, v := range values {
		g.Texts = append(g.Texts, canonical(v))
	}
	return g
}

// canonical is a value as it stands in a record: numbers in their shortest
// form.
func canonical(n *document.Node) string {
	if d, err := pack.ParseDecimal(n.Text); err == nil && !n.Quoted {
		return d.String()
	}
	return n.Text
}
