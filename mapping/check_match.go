package mapping

// distinct notes a message that shares frames or registers with an earlier one.
func (c *checker) distinct(earlier []Message, msg *Message) {
	if c.broken[msg.Place] {
		return
	}
	shared := 1
	for i := range earlier {
		other := &earlier[i]
		switch {
		case c.broken[other.Place]:
		case msg.Frame != nil:
			c.serialApart(other, msg)
		case msg.CAN == nil:
			c.registersApart(other, msg)
		case !other.CAN.overlaps(msg.CAN):
		case shared == MaxShared:
			c.Report(at(at(msg.Place, "can"), "id"), RuleMatch, "more than %d messages share an id", MaxShared)
			return
		default:
			shared++
			c.framesApart(other, msg)
		}
	}
}

// framesApart notes two messages with one id that their constants do not tell
// apart.
func (c *checker) framesApart(a, b *Message) {
	place := at(at(b.Place, "can"), "id")
	switch {
	case a.CAN.Transfer != b.CAN.Transfer:
		c.Report(at(at(b.Place, "can"), "transfer"), RuleTransfer, "a frame can be %q and %q: messages that share an id travel in the same way", a.Name, b.Name)
	case differ(a.Tests, b.Tests):
	case len(b.Tests) > 0 && a.CAN.includes(b.CAN) && implied(a.Tests, b.Tests):
		c.Report(place, RuleReach, "every frame of %q is one of %q too: give %q a field in which they differ, as in equals: 1", b.Name, a.Name, a.Name)
	default:
		c.Report(place, RuleMatch, "a frame can be %q and %q: give both an equals field at the same bits, with different values, or other ids", a.Name, b.Name)
	}
}

// serialApart notes two messages of a serial line that one frame could be, and no
// question tells apart.
func (c *checker) serialApart(a, b *Message) {
	if a.apart(b) || a.Ask != nil && b.Ask != nil && !a.Ask.same(b.Ask) {
		return
	}
	c.Report(at(b.Place, "frame"), RuleMatch,
		"a frame can be %q and %q: give a part of them different values, lengths that differ, or each its own question (ask)", a.Name, b.Name)
}

func (c *checker) registersApart(a, b *Message) {
	place := at(b.Place, "read")
	if a.Read.Model != 0 && a.Read.Model == b.Read.Model {
		c.Report(at(place, "model"), RuleMatch, "%q and %q are the same model", a.Name, b.Name)
	}
	if a.Read.Model+b.Read.Model == 0 && a.Read.From < b.Read.From+b.Read.Count && b.Read.From < a.Read.From+a.Read.Count {
		c.Report(at(place, "from"), RuleMatch, "%q and %q read the same registers", a.Name, b.Name)
	}
}

// overlaps tells whether an id can be of both.
func (c *CANMatch) overlaps(other *CANMatch) bool {
	return c.Extended == other.Extended && (c.ID^other.ID)&c.Mask()&other.Mask() == 0
}

// includes tells whether every id of the other is one of c too.
func (c *CANMatch) includes(other *CANMatch) bool {
	return c.overlaps(other) && c.Mask()&^other.Mask() == 0
}
