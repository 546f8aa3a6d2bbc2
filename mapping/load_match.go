package mapping

import (
	"math"
	"slices"

	"packlink/mapping/document"
)

// match reads what tells a message from others, and returns the map that holds
// its timing too.
func (l *loader) match(o *document.Object, m *Message) *document.Object {
	key := "can"
	switch {
	case l.registers:
		key = "read"
	case l.serial != nil:
		key = "frame"
	}
	before := l.Reports()
	defer func() { l.broken[m.Place] = l.Reports() > before }()
	n := o.Need(key)
	if n == nil {
		return nil
	}
	match := l.Object(n, key)
	if match == nil {
		return nil
	}
	switch {
	case l.registers:
		m.Read = l.read(match)
	case l.serial != nil:
		m.Frame = l.frameMatch(match)
	default:
		m.CAN = l.canMatch(match)
		m.CAN.Transfer = l.transfer(match)
	}
	return match
}

func (l *loader) canMatch(o *document.Object) *CANMatch {
	if o.Node.Get("pgn") != nil {
		return l.j1939Match(o)
	}
	bits := l.idWidth(o.Get("id_bits"), l.idBits)
	c := &CANMatch{Extended: bits == 29, ID: uint32(o.NeedInt("id", 0, math.MaxUint32))}
	if c.ID >= 1<<bits {
		l.Report(o.Node.Get("id"), RuleMatch, "an id of %d bits is at most %#x; this is %#x", bits, 1<<bits-1, c.ID)
	}
	if n := o.Get("address"); n != nil {
		l.address(o, n, c, bits)
	}
	c.Ignored = uint32(o.Int("any", 0, 0, 1<<bits-1))
	if both := c.Ignored & c.addressMask(); both != 0 {
		l.Report(o.Node.Get("any"), RuleMatch, "bits that are the address are not any bits: leave %#x out", both)
	}
	return c
}

// transfer reads how payloads travel that are longer than a frame.
func (l *loader) transfer(o *document.Object) Transfer {
	t := Transfer(max(slices.Index(transferNames, o.Choice("transfer", transferNames[1:]...)), 0))
	if (t == FastPacket || t == J1939Protocol) && o.Node.Get("pgn") == nil {
		l.Report(o.Node.Get("transfer"), RuleTransfer, "%s carries messages that have a PGN: say pgn in place of id", t)
	}
	return t
}

func (l *loader) address(match *document.Object, n *document.Node, c *CANMatch, bits int) {
	o := l.Object(n, "address")
	if o == nil {
		return
	}
	c.AddressBit = int(o.NeedInt("bit", 0, int64(bits)-1))
	c.AddressWidth = int(o.NeedInt("width", 1, min(16, int64(bits-c.AddressBit))))
	o.Done()
	if c.ID < 1<<bits && c.ID&^c.Mask() != 0 {
		l.Report(match.Node.Get("id"), RuleMatch, "the id has bits where the address stands: write %#x", c.ID&c.Mask())
	}
}

func (l *loader) read(o *document.Object) *Read {
	r := &Read{Model: int(o.Int("model", 0, 1, math.MaxUint16-1))}
	if r.Model == 0 {
		r.From = int(o.NeedInt("from", 0, math.MaxUint16))
	}
	r.Count = int(o.NeedInt("count", 1, math.MaxUint16-int64(r.From)+1))
	if r.Model != 0 {
		r.PackAt = int(o.Int("pack_at", 0, 2, math.MaxUint16))
	}
	return r
}
