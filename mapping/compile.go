package mapping

import (
	"fmt"
	"slices"
)

// Compiled is a mapping as tables: a message by its id, and for each message
// small operations over its bytes.
type Compiled struct {
	*Mapping
	Programs []Program // one per message, in the same order
	Alarms   int       // fields that are alarms, of all messages

	// Transported tells that some message travels by the J1939 transport protocol,
	// whose frames have ids of their own.
	Transported bool

	asked []*Program        // those that answer a question
	short [1 << 11]*Program // program of each 11-bit id, nil if none
	long  []longIDs
}

// longIDs are the programs of the 29-bit ids that share a mask.
type longIDs struct {
	mask uint32
	ids  map[uint32]*Program
}

// Program is what is done with the bytes of one message.
type Program struct {
	*Message
	Least, Most int  // bytes of a payload: MinBytes and MaxBytes
	Passed      bool // sent to the pack, not by it: nothing is read
	Transfer    Transfer
	Longest     int // most bytes of a payload of this message, or of one that shares an id with it
	Index       int
	Named       []Op       // numbers that are named: other fields may depend on them
	Needed      []Op       // those among them that other fields depend on, or that have a range
	Counted     []Op       // on a serial line, whose frames are whole: fields whose place or number counts say, but for optional ones
	Body        Steps      // fields that are written to the status
	Each        Steps      // fields of one pack's repetition of the message's group
	Cells       Steps      // fields of one cell's repetition of the message's group
	AddressIn   *Op        // where the payload holds the pack's address; nil if it does not
	Rivals      []*Program // other messages that an id of this one can be; their payloads differ in what they equal
	FirstAlarms int        // how many fields that are alarms the messages before have
	Alarms      int        // how many this one has
	PageSlot    int        // index of the name that says which part of its lists a payload has; -1 if they are whole
	PageFirst   int        // its value for the first part
	OfPresent   bool       // some field tells how the pack is now
	shift       uint8
	mask        uint32

	Bus   *SerialBus // of a message on a serial line
	Alone bool       // no frame of this message can be another, whatever was asked
	Sized bool       // only its length tells it from another message
	Asked int        // index of the first message with the same question; -1 if it has none
}

// Steps are the operations of a run of fields. Reading takes Numbers, then
// Rest; writing takes All.
type Steps struct {
	All     []Op
	Numbers []NumberOp // the plain numbers among them
	Rest    []Op       // the others
}

// Compile makes a mapping's tables. A mapping that [Load] accepted compiles.
func Compile(m *Mapping) (*Compiled, error) {
	c := &Compiled{Mapping: m, Programs: make([]Program, 0, len(m.Messages))}
	pieces := piecesOf(m)
	for i := range m.Messages {
		p, err := compileMessage(i, &m.Messages[i], pieces)
		if err != nil {
			return nil, fmt.Errorf("mapping %s: message %q: %w", m.Name, m.Messages[i].Name, err)
		}
		p.FirstAlarms = c.Alarms
		c.Alarms += p.numberAlarms()
		c.Programs = append(c.Programs, p)
	}
	for i := range c.Programs {
		p := &c.Programs[i]
		c.enter(p)
		p.Rivals = c.rivals(p)
		p.setTransfer()
		c.Transported = c.Transported || p.Transfer == J1939Protocol
		if p.CAN != nil && p.CAN.Ask != nil {
			c.asked = append(c.asked, p)
		}
	}
	for i := range c.Programs {
		c.pair(&c.Programs[i])
	}
	return c, nil
}

func compileMessage(index int, m *Message, pieces textPieces) (Program, error) {
	p := Program{Message: m, Index: index, Least: m.MinBytes, Most: m.MaxBytes, Passed: m.ByReader}
	if m.CAN != nil {
		p.shift, p.mask = uint8(m.CAN.AddressBit), 1<<m.CAN.AddressWidth-1
	}
	lets := make(map[string]int)
	for i := range m.Fields {
		if name := m.Fields[i].Let; name != "" {
			lets[name] = len(lets)
		}
	}
	whole := m.MaxBytes <= windowBytes && m.CAN != nil
	named, body, err := compileFields(m.Fields, lets, whole)
	if err != nil {
		return p, err
	}
	p.Named, p.Body = named, body
	for _, g := range []struct {
		of *Group
		to *Steps
	}{{m.Each, &p.Each}, {m.Cells, &p.Cells}} {
		if g.of == nil {
			continue
		}
		if *g.to, err = compileGroup(g.of, lets); err != nil {
			return p, err
		}
	}
	p.know(pieces)
	return p, nil
}

// know notes what is asked of the steps of a message again and again.
func (p *Program) know(pieces textPieces) {
	for _, op := range slices.Concat(p.Named, p.Body.All) {
		if p.Frame != nil && !op.Optional && (op.RepeatSlot >= 0 || len(op.Lists) > 0) {
			p.Counted = append(p.Counted, op)
		}
	}
	p.PageSlot = -1
	if i := slices.IndexFunc(p.Body.All, func(op Op) bool { return op.PageSlot >= 0 }); i >= 0 {
		p.PageSlot, p.PageFirst = p.Body.All[i].PageSlot, p.Body.All[i].PageFirst
	}
	if i := slices.IndexFunc(p.Body.All, func(op Op) bool { return op.Kind == OpAddress }); i >= 0 {
		p.AddressIn = &p.Body.All[i]
	}
	p.Needed = slices.DeleteFunc(slices.Clone(p.Named), func(op Op) bool { return op.Range == nil && !p.refersTo(op.Let) })
	p.OfPresent = slices.ContainsFunc(p.Body.All, func(op Op) bool { return op.Known != 0 || op.Target != nil && op.Quantity.OfPresent() })
	pieces.mark(p.Body.All, p.Timeout)
	pieces.mark(p.Body.Rest, p.Timeout)
}

// numberAlarms numbers the fields that are alarms, those of a group behind the
// others, and returns how many there are.
func (p *Program) numberAlarms() int {
	for _, steps := range []*Steps{&p.Body, &p.Each} {
		first := p.Alarms
		for _, ops := range [][]Op{steps.All, steps.Rest} {
			p.Alarms = first
			for i := range ops {
				if ops[i].Known != 0 {
					ops[i].AlarmSlot = p.Alarms
					p.Alarms++
				}
			}
		}
	}
	return p.Alarms
}

// refersTo tells whether some field depends on the field of a name.
func (m *Message) refersTo(name string) bool {
	refers := func(f Field) bool {
		return f.ScaleBy == name || f.RepeatBy == name || f.Page == name || f.When != nil && f.When.Name == name
	}
	return slices.ContainsFunc(m.runs(), func(fields []Field) bool { return slices.ContainsFunc(fields, refers) })
}
