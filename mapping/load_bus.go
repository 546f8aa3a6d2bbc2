package mapping

import "packlink/mapping/document"

func (l *loader) bus(n *document.Node) (b Bus) {
	if n == nil {
		return b
	}
	o := l.Object(n, "bus")
	if o == nil {
		return b
	}
	media := 0
	for _, medium := range []struct {
		key  string
		read func(*document.Node)
	}{
		{"can", func(n *document.Node) { b.CAN = l.canBus(n) }},
		{"registers", func(n *document.Node) { b.Registers = l.registerBus(n) }},
		{"serial", func(n *document.Node) { b.Serial = l.serialBus(n) }},
	} {
		if n := o.Get(medium.key); n != nil {
			medium.read(n)
			media++
		}
	}
	o.Done()
	if media != 1 {
		l.Report(n, RuleBus, "bus must say one medium: can, registers or serial")
	}
	return b
}

func (l *loader) canBus(n *document.Node) *CANBus {
	o := l.Object(n, "can of bus")
	if o == nil {
		return nil
	}
	b := &CANBus{Bitrate: int(o.NeedInt("bitrate", 1_000, 1_000_000)), IDBits: l.idWidth(o.Need("id_bits"), 11)}
	o.Done()
	l.idBits = b.IDBits
	return b
}

// idWidth is how many bits a CAN id has, otherwise if n is nil.
func (l *loader) idWidth(n *document.Node, otherwise int) int {
	if n == nil {
		return otherwise
	}
	bits := int(l.Int(n, "id_bits", 11, 29))
	if bits != 11 && bits != 29 {
		l.Report(n, RuleBus, "a CAN id has 11 or 29 bits, not %d", bits)
		return 29
	}
	return bits
}

func (l *loader) registerBus(n *document.Node) *RegisterBus {
	l.registers = true
	o := l.Object(n, "registers")
	if o == nil {
		return nil
	}
	b := &RegisterBus{
		Table:        o.NeedChoice("table", "holding", "input"),
		ModelsAt:     int(o.Int("models_at", -1, 0, 65_000)),
		Units:        [2]int{1, lastUnit},
		Baud:         int(o.Int("baud", 0, 50, 4_000_000)),
		Frame:        o.Choice("frame", "8N1", "8E1", "8O1", "8N2", "7E1", "7O1", "7N2"),
		Most:         int(o.Int("most", mostRegisters, 1, mostRegisters)),
		AnswerWithin: o.Duration("answer_within"),
		Quiet:        o.Duration("quiet"),
	}
	if n := o.Get("units"); n != nil {
		b.Units = l.span(n, "units", 1, lastUnit)
	}
	o.Done()
	return b
}

// span reads the first and the last number, such as an address, that can be a
// pack.
func (l *loader) span(n *document.Node, what string, least, most int64) [2]int {
	if n.Kind != document.List || len(n.Items) != 2 {
		l.Report(n, document.RuleWrongType, "%s must be [first, last], such as [1, 16]", what)
		return [2]int{int(least), int(most)}
	}
	first := l.Int(n.Items[0], "the first of "+what, least, most)
	return [2]int{int(first), int(l.Int(n.Items[1], "the last of "+what, first, most))}
}
