package mapping

import (
	"slices"

	"packlink/mapping/document"
	"packlink/mapping/framing"
)

// framing checks that frames made by a layout can be told from one another and
// from noise. Each part stands at its node.
func (l *loader) framing(bus *document.Object, nodes []*document.Node, layout *framing.Layout) {
	parts := layout.Parts
	data := slices.IndexFunc(parts, func(p framing.Part) bool { return p.Role == framing.Data })
	place := bus.Node.Get("parts")
	switch {
	case len(parts) > framing.MaxParts:
		l.Report(place, RuleFraming, "a frame has at most %d parts; this one has %d", framing.MaxParts, len(parts))
		return
	case data < 0:
		l.Report(place, RuleFraming, "a frame needs a part named data, from which the fields of messages count")
		return
	}
	for i := range parts {
		l.partReach(nodes[i], layout, i, data)
	}
	switch layout.Coding {
	case framing.ASCIIHex:
		l.hexEnds(place, parts)
	case framing.Escaped:
		l.escapedEnds(bus.Node.Get("coding"), layout)
	default:
		l.end(place, parts, data)
	}
}

// partReach checks what a length counts and what a check value is over.
func (l *loader) partReach(n *document.Node, layout *framing.Layout, i, data int) {
	p := &layout.Parts[i]
	last := len(layout.Parts) - 1
	switch {
	case p.Role == framing.Length && (p.From > data || p.To < data):
		l.Report(n.Get("counts"), RuleFraming, "a length counts the data, or parts around it")
	case p.Role == framing.Length && i > data:
		l.Report(n, RuleFraming, "a length stands before the data, or nobody knows where to look for it")
	case p.Role == framing.Check && p.From <= i && i <= p.To:
		l.Report(n.Get("over"), RuleFraming, "the check value would be over itself")
	case p.Role == framing.Check && p.Characters && layout.Coding != framing.ASCIIHex:
		l.Report(n.Get("of"), RuleFraming, "characters are sent only with coding: ascii-hex")
	case p.Role == framing.Check && p.Characters && (p.From == 0 || p.To == last):
		l.Report(n.Get("over"), RuleFraming, "the first and the last part are not sent as characters")
	case p.Role == framing.Check && layout.Coding == framing.ASCIIHex && n.Get("of") == nil:
		l.Report(n, RuleFraming, "say what the check value is over: of: bytes, or of: characters for the digits that are sent")
	}
}

// end checks that the end of a frame that is sent as it is can be found.
func (l *loader) end(place *document.Node, parts []framing.Part, data int) {
	d, last := &parts[data], len(parts)-1
	counted := slices.ContainsFunc(parts, func(p framing.Part) bool { return p.Role == framing.Length })
	switch {
	case counted || d.Least == d.Most:
	case parts[last].Role != framing.Constant || parts[0].Role != framing.Constant:
		l.Report(place, RuleFraming, "the end of a frame cannot be found: give the data a size, a part that counts it, or constant first and last parts")
	case d.Most > framing.MaxOpen:
		l.Report(place, RuleFraming, "only the last part tells where a frame ends: say how much data there can be, most: %d or less", framing.MaxOpen)
	}
}

// hexEnds checks that the ends of a frame are no digits.
func (l *loader) hexEnds(place *document.Node, parts []framing.Part) {
	first, last := &parts[0], &parts[len(parts)-1]
	if first.Role != framing.Constant || last.Role != framing.Constant || hasDigit(first.Bytes) || hasDigit(last.Bytes) || slices.Contains(last.Bytes, first.Bytes[0]) {
		l.Report(place, RuleFraming, "in ascii-hex the first and the last part are constants that differ and hold no digit, such as 7E and 0D")
	}
}

func hasDigit(b []byte) bool {
	return slices.ContainsFunc(b, func(c byte) bool { return c >= '0' && c <= '9' || c >= 'A' && c <= 'F' })
}

// escapedEnds checks that the ends of a frame never stand inside it.
func (l *loader) escapedEnds(n *document.Node, layout *framing.Layout) {
	parts := layout.Parts
	escaped := make(map[byte]bool)
	for _, e := range layout.Escapes {
		escaped[e.Byte] = true
	}
	for _, p := range []framing.Part{parts[0], parts[len(parts)-1]} {
		if p.Role != framing.Constant || p.Size != 1 || !escaped[p.Bytes[0]] {
			l.Report(n, RuleFraming, "with escapes the first and the last part are one constant byte each, and that is escaped")
			return
		}
	}
	for i, e := range layout.Escapes {
		for _, earlier := range layout.Escapes[:i] {
			if earlier.Sent == e.Sent {
				l.Report(n, RuleFraming, "two bytes are escaped alike, as % X", e.Sent)
			}
		}
		if e.Sent[0] != layout.Escapes[0].Sent[0] || !escaped[e.Sent[0]] || escaped[e.Sent[1]] {
			l.Report(n, RuleFraming, "every escape begins with the same byte, which is escaped too, and its second byte needs no escape")
		}
	}
}
