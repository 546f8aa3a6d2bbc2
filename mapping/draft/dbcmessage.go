package draft

import (
	"fmt"
	"slices"
	"strings"

	"go.einride.tech/can/pkg/dbc"

	"packlink/mapping"
)

// frame drafts the messages of one id: one, or one for each value of the signal
// that says which others are there.
func (d *database) frame(def *dbc.MessageDef) {
	why := d.refuse(def)
	var s *switching
	if why == "" {
		s, why = d.switching(def)
	}
	if why != "" {
		d.lose("message %s: %s", def.Name, why)
		return
	}
	d.taken = append(d.taken, def)
	m := message{name: string(def.Name), match: d.match(def), length: int(def.Size)}
	m.notes = []string{d.comments[owner{id: def.MessageID}]}
	if slices.Contains([]string{"", "Vector__XXX"}, string(def.Transmitter)) {
		m.notes = append(m.notes, "the source does not say who sends it; if a reader does, add by: reader")
	} else {
		m.notes = append(m.notes, fmt.Sprintf("sent by %s; if that is no pack, add by: reader", def.Transmitter))
	}
	d.variants(s, m)
}

// mostFrame is how many bytes a CAN FD frame has at most.
const mostFrame = 64

// refuse says why a message cannot be drafted, "" if it can.
func (d *database) refuse(def *dbc.MessageDef) string {
	switch {
	case d.byPGN(def) && def.Size > uint64(mapping.J1939Protocol.Most()):
		return fmt.Sprintf("it has %d bytes, and a transfer by %s at most %d", def.Size, mapping.J1939Protocol, mapping.J1939Protocol.Most())
	case !d.byPGN(def) && def.Size > mostFrame:
		return fmt.Sprintf("it has %d bytes, and a frame at most %d", def.Size, mostFrame)
	case def.Size == 0:
		return "it has no bytes"
	}
	for _, other := range d.taken {
		mask := d.mask(def) & d.mask(other)
		if def.MessageID.IsExtended() == other.MessageID.IsExtended() && (def.MessageID^other.MessageID)&mask == 0 {
			return fmt.Sprintf("its frames are those of %s", other.Name)
		}
	}
	return ""
}

// byPGN tells whether a message is known by its parameter group.
func (d *database) byPGN(def *dbc.MessageDef) bool { return d.j1939[def.MessageID] && d.longIDs }

// mask has the bits of an id that tell a message from others.
func (d *database) mask(def *dbc.MessageDef) dbc.MessageID {
	switch {
	case !d.byPGN(def):
		return 1<<29 - 1
	case mapping.PGN(def.MessageID.ToCAN())&0xFF00 < 0xF000:
		return 0x03FF0000
	}
	return 0x03FFFF00
}

func (d *database) match(def *dbc.MessageDef) string {
	id := def.MessageID.ToCAN()
	keys := fmt.Sprintf("id: 0x%03X", id)
	switch {
	case d.byPGN(def):
		keys = fmt.Sprintf("pgn: 0x%05X, priority: %d", mapping.PGN(id), id>>26)
		if def.Size > mapping.ClassicBytes {
			keys += ", transfer: " + mapping.J1939Protocol.String()
		}
	case def.MessageID.IsExtended() && d.longIDs:
		keys = fmt.Sprintf("id: 0x%08X", id)
	case def.MessageID.IsExtended():
		keys = fmt.Sprintf("id: 0x%08X, id_bits: 29", id)
	}
	if period := d.periods[def.MessageID]; period > 0 && period <= 24*60*60*1000 {
		keys += fmt.Sprintf(", every: %dms", period)
	}
	return "can: {" + keys + "}"
}

// variants drafts a message, once for each set of values of its switches if it has some.
func (d *database) variants(s *switching, m message) {
	for _, value := range s.never {
		d.lose("%s: %s", s.def.Name, value)
	}
	if len(s.names) == 0 {
		s.always = slices.DeleteFunc(s.always, func(signal dbc.SignalDef) bool {
			if signal.IsMultiplexed {
				d.lose("%s, %s: no signal of the message says when it is there", s.def.Name, signal.Name)
				m.notes = append(m.notes, fmt.Sprintf("left out: %s: no signal of the message says when it is there", signal.Name))
			}
			return signal.IsMultiplexed
		})
	}
	if len(s.variants) == 0 {
		d.add(s.def, m, variant{}, s.always)
	}
	for _, v := range s.variants {
		one := m
		for i, by := range v.switches {
			one.name += fmt.Sprintf(", %s %d", by.Name, v.values[i])
		}
		d.add(s.def, one, v, append(v.signals, s.always...))
	}
}

// add drafts a message of the signals given, behind the switches of a variant.
func (d *database) add(def *dbc.MessageDef, m message, v variant, signals []dbc.SignalDef) {
	taken := make(map[bitPlace]string)
	for i, by := range v.switches {
		f := d.signal(def, by, taken)
		f.equals, f.value = true, v.values[i]
		m.fields = append(m.fields, f)
	}
	for i := range signals {
		m.fields = append(m.fields, d.signal(def, &signals[i], taken))
	}
	d.messages = append(d.messages, m)
}

// described is what the file says of a signal.
func (d *database) described(def *dbc.MessageDef, s *dbc.SignalDef) []string {
	key := owner{def.MessageID, s.Name}
	notes := []string{d.comments[key]}
	var values []string
	for _, v := range d.values[key] {
		values = append(values, fmt.Sprintf("%v %s", v.Value, v.Description))
	}
	if len(values) > 0 {
		notes = append(notes, "values: "+strings.Join(values, ", "))
	}
	return notes
}
