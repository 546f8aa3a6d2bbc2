package mapping

import (
	"fmt"
	"math"
	"strconv"

	"packlink/mapping/document"
	"packlink/mapping/framing"
)

// serialBus reads a serial line and what its frames are made of. It is nil if no
// frame could be told from another.
func (l *loader) serialBus(n *document.Node) *SerialBus {
	o := l.Object(n, "serial")
	if o == nil {
		return nil
	}
	before := l.Reports()
	b := &SerialBus{
		Baud:         int(o.Int("baud", 0, 50, 4_000_000)),
		Frame:        o.Choice("frame", "8N1", "8E1", "8O1", "8N2", "7E1", "7O1", "7N2"),
		AnswerWithin: o.Duration("answer_within"),
		Quiet:        o.Duration("quiet"),
		Address:      -1,
	}
	layout := framing.Layout{}
	l.coding(o.Get("coding"), &layout)
	nodes := o.NeedList("parts")
	l.parts(nodes, b, &layout)
	b.Addresses = [2]int{0, math.MaxUint16}
	if n := o.Get("addresses"); n != nil {
		b.Addresses = l.span(n, "addresses", 0, math.MaxUint16)
	}
	o.Done()
	if l.Reports() == before {
		l.framing(o, nodes, &layout)
	}
	if l.Reports() > before {
		return nil
	}
	b.Format = layout.Compile()
	l.serial = b
	return b
}

// coding reads how the bytes of a frame are sent.
func (l *loader) coding(n *document.Node, layout *framing.Layout) {
	switch {
	case n == nil:
	case n.Kind == document.Map:
		l.escapes(n, layout)
	default:
		if l.Choice(n, "coding", "ascii-hex") != "" {
			layout.Coding = framing.ASCIIHex
		}
	}
}

func (l *loader) escapes(n *document.Node, layout *framing.Layout) {
	o := l.Object(n, "coding")
	layout.Coding = framing.Escaped
	escapes := o.Need("escape")
	o.Done()
	if escapes == nil || l.Object(escapes, "escape") == nil {
		return
	}
	for _, p := range escapes.Pairs {
		sent := l.payload(p.Value)
		if len(sent) != 2 {
			l.Report(p.Value, RuleFraming, "a byte is escaped by two others, such as 7D 5E")
			continue
		}
		layout.Escapes = append(layout.Escapes, framing.Escape{
			Byte: byte(l.Int(p.Key, "an escaped byte", 0, math.MaxUint8)), Sent: [2]byte(sent),
		})
	}
}

// frameMatch reads which frames are a message, by the values of their parts.
func (l *loader) frameMatch(o *document.Object) *FrameMatch {
	return &FrameMatch{Values: l.partValues(o, false)}
}

// partValues reads the values of parts. The address is the pack's, and only a
// question can say another.
func (l *loader) partValues(o *document.Object, address bool) (values []PartValue) {
	for i := range l.serial.Format.Parts {
		p := &l.serial.Format.Parts[i]
		if p.Role != framing.Value || i == l.serial.Address && !address {
			continue
		}
		if n := o.Own(p.Name); n != nil {
			values = append(values, PartValue{i, l.raw(n, "the value of part "+p.Name, 8*p.Size)})
		}
	}
	return values
}

// ask reads the question that a message is the answer to.
func (l *loader) ask(n *document.Node, m *Message) {
	o := l.Object(n, "ask")
	if o == nil {
		return
	}
	a := &Ask{Values: l.partValues(o, true), Every: o.Duration("every")}
	if data := o.Get("data"); data != nil {
		a.Data = l.askData(data)
	}
	o.Done()
	m.Ask = a
	if m.Every == 0 {
		m.Every = a.Every
	}
	if a.Every == 0 {
		a.Every = m.Every
	}
	d := l.serial.Format.DataPart()
	if size := len(a.Data); size < d.Least || size > d.Most {
		l.Report(at(n, "data"), RuleBounds, "the question has %d bytes of data; a frame has %s", size, spanText(d.Least, d.Most))
	}
}

// spanText is a span as a person reads it: 8, or 2 to 8.
func spanText(least, most int) string {
	if least == most {
		return strconv.Itoa(most)
	}
	return fmt.Sprintf("%d to %d", least, most)
}

// askData reads the data of a question: hexadecimal digits, or a list of bytes in
// which the word address stands for that of the pack.
func (l *loader) askData(n *document.Node) (data []AskByte) {
	if n.Kind == document.Scalar && n.Text == addressKey {
		l.Report(n, document.RuleWrongType, "the address stands in a list of bytes: write [address]")
		return nil
	}
	if n.Kind == document.Scalar {
		for _, b := range l.payload(n) {
			data = append(data, AskByte{Value: b})
		}
		return data
	}
	for _, item := range l.List(n, "the data of a question") {
		if item.Kind == document.Scalar && item.Text == addressKey {
			l.Takes(item, document.Form{Type: "string", Choices: []string{item.Text}})
			data = append(data, AskByte{Address: true})
			continue
		}
		data = append(data, AskByte{Value: byte(l.Int(item, "a byte of a question", 0, math.MaxUint8))})
	}
	return data
}
