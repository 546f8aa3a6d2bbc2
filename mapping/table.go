package mapping

import (
	"fmt"
	"io"
	"math"
	"math/bits"
	"strconv"
	"strings"
	"text/tabwriter"

	"packlink/decode/pack"
)

// WriteTable writes the mapping as a table that a person can read: each
// message, then each of its fields with its place, type, meaning and unit.
func (m *Mapping) WriteTable(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "%s: %s\n", m.Name, m.Title)
	for _, s := range m.Source {
		fmt.Fprintf(t, "source: %s\n", s)
	}
	if m.Notes != "" {
		fmt.Fprintf(t, "\n%s\n", m.Notes)
	}
	for _, o := range m.Options {
		fmt.Fprintf(t, "\noption %s: %s: %s (now %s)\n", o.Name, o.Title, strings.Join(o.Choices, " or "), o.Chosen)
	}
	if m.Bus.Serial != nil {
		fmt.Fprintf(t, "\na frame is %s\n", m.Bus.Serial.parts())
	}
	for i := range m.Messages {
		writeMessage(t, m.Bus.Serial, &m.Messages[i])
	}
	return t.Flush()
}

// String is the source as it stands in documents.
func (s Source) String() string {
	if s.Part == "" {
		return s.Title
	}
	return s.Title + ", " + s.Part
}

func writeMessage(t io.Writer, line *SerialBus, m *Message) {
	fmt.Fprintf(t, "\n%s  %s%s\n", m.where(line), m.Name, m.timing())
	if m.CAN != nil && m.CAN.Ask != nil {
		fmt.Fprintln(t, "  "+m.CAN.question())
	}
	for _, source := range m.Source {
		fmt.Fprintf(t, "  source: %s\n", source)
	}
	unit, from := "byte", 0
	if m.Read != nil {
		unit, from = "register", m.Read.From
	}
	for i := range m.Fields {
		writeField(t, unit, from, &m.Fields[i])
	}
	writeGroup(t, m.Each, "pack")
	writeGroup(t, m.Cells, "cell")
}

func writeGroup(t io.Writer, g *Group, of string) {
	if g == nil {
		return
	}
	fmt.Fprintf(t, "  from register %d on, for each %s, %d registers:\n", g.At, of, g.Size)
	for i := range g.Fields {
		writeField(t, "register", 0, &g.Fields[i])
	}
}

// where is what a message is found by, on a serial line by the parts of its frame.
func (m *Message) where(line *SerialBus) string {
	switch {
	case m.CAN != nil:
		return m.CAN.where()
	case m.Frame != nil:
		return "frame with " + line.describe(m.Frame.Values) + line.asked(m.Ask)
	case m.Read.Model != 0:
		return fmt.Sprintf("model %d, %d registers", m.Read.Model, m.Read.Count) + m.Read.ofPack()
	}
	return fmt.Sprintf("registers %d to %d", m.Read.From, m.Read.From+m.Read.Count-1)
}

func (c *CANMatch) where() string {
	text := c.idText(c.ID) + c.address()
	if c.HasPGN {
		text = fmt.Sprintf("PGN %d (%05X)", c.PGN, c.PGN)
	}
	if c.HasPGN && c.AddressWidth > 0 {
		text += ", from the pack's source address"
	}
	if c.Transfer != OneFrame {
		text += ", by " + c.Transfer.String()
	}
	return text
}

// idText is an id in as many digits as its width has.
func (c *CANMatch) idText(id uint32) string {
	if c.Extended {
		return fmt.Sprintf("%08X", id)
	}
	return fmt.Sprintf("%03X", id)
}

func (r *Read) ofPack() string {
	if r.PackAt == 0 {
		return ""
	}
	return fmt.Sprintf(", for each pack, whose number is register %d", r.PackAt)
}

func (c *CANMatch) address() string {
	text := ""
	if c.AddressWidth > 0 {
		text = fmt.Sprintf(" (address in bits %d to %d)", c.AddressBit, c.AddressBit+c.AddressWidth-1)
	}
	if c.Ignored != 0 {
		text += fmt.Sprintf(" (any bits %X)", c.Ignored)
	}
	return text
}

func (m *Message) timing() string {
	text := ""
	if m.ByReader {
		text = ", sent to the pack"
	}
	if m.Every > 0 {
		text += fmt.Sprintf(", every %v, overdue after %v", m.Every, m.Timeout)
	}
	return text
}

// writeField writes a field and its alarms; its place counts from the number that
// the message's first byte or register has.
func writeField(t io.Writer, unit string, from int, f *Field) {
	place := fmt.Sprintf("%s %d", unit, from+f.At)
	if f.After != "" {
		place = fmt.Sprintf("%s %d after %s", unit, f.At, f.After)
	}
	if f.Bit > 0 || f.Type.Bits%8 != 0 {
		place += fmt.Sprintf(", bit %d", f.Bit)
	}
	fmt.Fprintf(t, "  %s\t%s\t%s\t%s\n", place, f.Type.Name, f.subject(), f.details())
	for _, a := range f.Alarms {
		slot := strconv.FormatUint(a.Slot, 10)
		if a.Other {
			slot = otherKey
		}
		fmt.Fprintf(t, "  \t  %s\t  %s\t\n", slot, a.Alarm)
	}
}

// subject is what a field is about.
func (f *Field) subject() string {
	switch {
	case f.Address:
		return addressKey
	case f.Equals != nil:
		return fmt.Sprintf("always %X", f.Equals.Raw)
	case f.Target == nil && f.Let == "":
		return "alarms" + f.codes()
	case f.Target == nil:
		return "(" + f.Let + ")"
	case f.inPieces():
		return fmt.Sprintf("%s[%d]", f.Target.Quantity, f.Target.Element+1)
	case f.Target.Quantity.Row().Kind.List():
		return fmt.Sprintf("%s[%d]%s", f.Target.Quantity, f.Target.Element+1, f.repetition())
	}
	return f.Target.Quantity.String()
}

// inPieces tells whether the field is a piece of a text.
func (f *Field) inPieces() bool {
	is := f.Place.Get("is")
	return f.Type.Base == Text && is != nil && strings.HasSuffix(is.Text, "]")
}

// codes is how many codes the field has, if it has several.
func (f *Field) codes() string {
	switch {
	case f.RepeatBy != "":
		return fmt.Sprintf(", %s times, each %d on", f.RepeatBy, f.Step)
	case f.Repeat > 0:
		return fmt.Sprintf(", %d times, each %d on", f.Repeat, f.Step)
	}
	return ""
}

func (f *Field) repetition() string {
	switch {
	case f.RepeatBy != "":
		return fmt.Sprintf(" and on, %s times, each %d on", f.RepeatBy, f.Step)
	case f.Repeat > 0:
		return fmt.Sprintf(" to [%d], each %d on", f.Target.Element+f.Repeat, f.Step)
	case f.Type.Base == FlagBits:
		return fmt.Sprintf(" to [%d], a bit each", f.Target.Element+f.Type.Bits)
	}
	return ""
}

// direction is which way the raw number of a current or a power counts.
func (f *Field) direction() string {
	way := "charging"
	if f.Scale.Coef < 0 {
		way = "discharging"
	}
	if f.Offset.Coef != 0 {
		return "higher is towards " + way
	}
	return "positive is " + way
}

// spread is where the bits of a field stand that fills one of its bytes only in
// part, unless it simply begins at bit 0 of the first.
func (f *Field) spread() []string {
	fills := !f.Type.numeric() || f.ContainerBytes() == f.Unit || f.Type.Bits == 8*f.ContainerBytes()
	if fills || f.Little && f.Bit == 0 {
		return nil
	}
	var parts []string
	for at := f.StartByte(0); at < f.StartByte(0)+f.ContainerBytes(); at++ {
		switch mask := f.bitsOf(0, at); mask {
		case 0:
		case math.MaxUint8:
			parts = append(parts, fmt.Sprintf("byte %d", at))
		default:
			parts = append(parts, fmt.Sprintf("byte %d bits %d to %d", at, bits.TrailingZeros8(mask), bits.Len8(mask)-1))
		}
	}
	return []string{"in " + strings.Join(parts, " and ")}
}

func (m *Meaning) key() string {
	if m.Other {
		return otherKey
	}
	return strconv.FormatUint(m.Raw, 10)
}

func (m *Meaning) value(f *Field) string {
	if f.Target.Quantity.Row().Kind == pack.Word {
		return strconv.Quote(string(m.Text))
	}
	return strconv.FormatBool(m.On)
}

// date is how the number is a date.
func (f *Field) date() string {
	switch f.Date {
	case Packed:
		return fmt.Sprintf("7 bits of years since %d, 4 of the month, 5 of the day", f.Since)
	case Days:
		return fmt.Sprintf("days since 1 January %d", f.Since)
	case Digits6:
		return fmt.Sprintf("YYMMDD since %d", f.Since)
	}
	return "YYYYMMDD"
}

// orders are the orders of the field's bytes and words, where it has several.
func (f *Field) orders() (orders []string) {
	if !f.Type.numeric() || f.ContainerBytes() == 1 {
		return nil
	}
	if f.Unit == 1 || f.Little {
		orders = append(orders, map[bool]string{true: "little", false: "big"}[f.Little]+" byte order")
	}
	if f.Unit == 2 && f.ContainerBytes() > 2 {
		orders = append(orders, map[bool]string{true: "low", false: "high"}[f.LowFirst]+" word first")
	}
	return orders
}
