package draft

import (
	"fmt"
	"unicode/utf8"

	"go.einride.tech/can/pkg/dbc"
)

// DBC drafts a mapping of a CAN bus from a DBC file, whose text is data.
func DBC(file string, data []byte) (*Draft, error) {
	d := &database{builder: builder{file: file}}
	parser := dbc.NewParser(file, d.extended(utf8Text(data)))
	if err := parser.Parse(); err != nil {
		return nil, fmt.Errorf("%s:%d:%d: not readable as DBC: %s", file, err.Position().Line, err.Position().Column, err.Reason())
	}
	d.read(parser.Defs())
	d.header()
	for _, def := range d.defs {
		d.frame(def)
	}
	return d.draft()
}

// utf8Text is a text as UTF-8. One that is none is taken for ISO 8859-1, as the
// older tools write it (common practice, no source).
func utf8Text(data []byte) []byte {
	if utf8.Valid(data) {
		return data
	}
	var text []byte
	for _, b := range data {
		text = utf8.AppendRune(text, rune(b))
	}
	return text
}

// database is what a DBC file says, by what it says it of.
type database struct {
	builder
	defs     []*dbc.MessageDef
	comments map[owner]string
	values   map[owner][]dbc.ValueDescriptionDef
	floats   map[owner]dbc.SignalValueType
	periods  map[dbc.MessageID]int64 // ms
	j1939    map[dbc.MessageID]bool
	formats  []string          // names of the frame formats
	bitrate  uint64            // kbit/s
	longIDs  bool              // every id has 29 bits
	big      bool              // most signals are big endian
	taken    []*dbc.MessageDef // that were drafted

	nested    map[int]bool       // places of signals that are switches and depend on one
	presences map[owner]presence // of signals that the file says more of than one value
}

// owner is a signal, or a message if it has no name.
type owner struct {
	id     dbc.MessageID
	signal dbc.Identifier
}

// Attributes that say what a mapping wants to know (common practice among DBC
// files, no source): the period of a message in ms, and the format of its frame.
const (
	periodAttribute = "GenMsgCycleTime"
	formatAttribute = "VFrameFormat"
	formatJ1939     = "J1939PG"
)

func (d *database) read(defs []dbc.Def) {
	d.comments, d.values = make(map[owner]string), make(map[owner][]dbc.ValueDescriptionDef)
	d.floats = make(map[owner]dbc.SignalValueType)
	d.periods, d.j1939 = make(map[dbc.MessageID]int64), make(map[dbc.MessageID]bool)
	for _, def := range defs {
		switch def := def.(type) {
		case *dbc.MessageDef:
			d.addMessage(def)
		case *dbc.CommentDef:
			if def.ObjectType == dbc.ObjectTypeMessage || def.ObjectType == dbc.ObjectTypeSignal {
				d.comments[owner{def.MessageID, def.SignalName}] = def.Comment
			}
		case *dbc.ValueDescriptionsDef:
			d.values[owner{def.MessageID, def.SignalName}] = def.ValueDescriptions
		case *dbc.SignalValueTypeDef:
			d.floats[owner{def.MessageID, def.SignalName}] = def.SignalValueType
		case *dbc.BitTimingDef:
			d.bitrate = def.BaudRate
		case *dbc.AttributeDef:
			if def.Name == formatAttribute {
				d.formats = def.EnumValues
			}
		case *dbc.AttributeValueForObjectDef:
			d.attribute(def)
		case *dbc.UnknownDef:
			d.lose("line %d: %s is not read", def.Pos.Line, def.Keyword)
		}
	}
}

func (d *database) addMessage(def *dbc.MessageDef) {
	if dbc.IsIndependentSignalsMessage(def) {
		d.lose("%s: signals of no message have no place", def.Name)
		return
	}
	d.defs = append(d.defs, def)
}

func (d *database) attribute(def *dbc.AttributeValueForObjectDef) {
	if def.ObjectType != dbc.ObjectTypeMessage {
		return
	}
	switch def.AttributeName {
	case periodAttribute:
		d.periods[def.MessageID] = max(def.IntValue, int64(def.FloatValue))
	case formatAttribute:
		name := def.StringValue
		if i := int(def.IntValue); name == "" && i >= 0 && i < len(d.formats) {
			name = d.formats[i]
		}
		d.j1939[def.MessageID] = name == formatJ1939
	}
}

// header writes what the file says once for all its messages.
func (d *database) header() {
	little, big, long := 0, 0, 0
	for _, def := range d.defs {
		if def.MessageID.IsExtended() {
			long++
		}
		for _, s := range def.Signals {
			if s.IsBigEndian {
				big++
			} else {
				little++
			}
		}
	}
	d.big, d.longIDs = big > little, long > 0 && long == len(d.defs)
	idBits, order := 11, "little"
	if d.longIDs {
		idBits = 29
	}
	if d.big {
		order = "big"
	}
	why := ""
	bitrate := d.bitrate * 1000
	if bitrate < 10_000 || bitrate > 1_000_000 {
		bitrate, why = 500_000, " # the source does not say"
	}
	d.head = fmt.Sprintf("bus: {can: {bitrate: %d, id_bits: %d}}%s\nbyte_order: %s", bitrate, idBits, why, order)
}
