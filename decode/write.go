package decode

import (
	"fmt"
	"strconv"

	"packlink/decode/pack"
	"packlink/mapping"
)

// NotKnownError says that a payload cannot be written because the status does
// not know a value, and the field has no way to say so.
type NotKnownError struct{ Field string }

// Error names the field.
func (e *NotKnownError) Error() string {
	return e.Field + " is not known, and its field has no value for \"not available\""
}

// NoRoomError says that a value does not fit its field. It is not written: it
// would wrap around or be clamped.
type NoRoomError struct {
	Field string
	Value string
	Type  string
}

// Error names the field and the value.
func (e *NoRoomError) Error() string {
	return fmt.Sprintf("%s is %s, which does not fit its field (%s)", e.Field, e.Value, e.Type)
}

// writing is where a payload's fields come from.
type writing struct {
	status *pack.Status
	lets   *lets
	sight  *sight // what derived fields look at
	ofCell bool   // the fields speak of one cell
	cell   int    // its element in lists, from 0

	// refuse is asked about a field, or an element of it that stands offset bytes
	// further on, which cannot be written.
	refuse func(op *mapping.Op, offset int, err error) error

	original []byte                    // the payload that the status was read from; nil if there is none
	pieces   map[mapping.Target]string // of texts that the status does not know whole
}

// newWriting begins to write what a status knows: of a bank with its packs, or of
// a pack. It refuses what cannot be written.
func newWriting(p *mapping.Program, s *pack.Status, packs []pack.Status, named *lets) *writing {
	seen := &sight{whole: s, packs: packs}
	if p.Read != nil && p.Read.PackAt > 0 {
		seen.pack = s
	}
	return &writing{status: s, lets: named, sight: seen, refuse: func(_ *mapping.Op, _ int, err error) error { return err }}
}

// rolled are the named fields of a message before its payload number count, from
// 0: its rolling counters.
func rolled(p *mapping.Program, count uint64) *lets {
	l := new(lets)
	for i := range p.Named {
		if op := &p.Named[i]; op.Rolling {
			l.values[op.Slot], l.known = int64(count&op.Mask), l.known|1<<op.Slot
		}
	}
	return l
}

// payload writes at most so many bytes: a frame's optional fields can be left off.
func (w *writing) payload(p *mapping.Program, most int, b []byte) ([]byte, error) {
	w.prepare(p)
	powers(nil).choose(p, w, 0)
	start, size := len(b), p.MinBytes
	for _, ops := range [][]mapping.Op{p.Named, p.Body.All} {
		for i := range ops {
			if op := &ops[i]; op.RepeatSlot >= 0 || w.knows(op) {
				size = max(size, w.reach(op, most))
			}
		}
	}
	for range size {
		b = append(b, p.Fill)
	}
	if err := w.writeAll(b[start:], p.Named, p.Body.All); err != nil {
		return b[:start], err
	}
	return b, nil
}

// writeAll runs the operations over data, whose byte 0 is the fields' byte 0.
func (w *writing) writeAll(data []byte, runs ...[]mapping.Op) error {
	for _, ops := range runs {
		for i := range ops {
			op := &ops[i]
			part, there := w.lets.part(op, data)
			if !there || op.Need > len(part) {
				continue
			}
			if err := w.write(op, part); err != nil {
				return err
			}
		}
	}
	return nil
}

func (w *writing) write(op *mapping.Op, data []byte) error {
	switch op.Kind {
	case mapping.OpElement:
		return w.elements(op, data)
	case mapping.OpText:
		if err := w.text(op, data); err != nil {
			return w.refuse(op, 0, err)
		}
		return nil
	case mapping.OpCodes:
		return w.writeCodes(op, data)
	}
	r, other := w.otherRaw(op)
	err := error(nil)
	if !other {
		r, err = w.rawOf(op)
	}
	return w.put(op, data, 0, r, err)
}

// put writes raw bits at a field's place, offset bytes further on, or has them
// refused.
func (w *writing) put(op *mapping.Op, data []byte, offset int, r uint64, err error) error {
	if err != nil {
		return w.refuse(op, offset, err)
	}
	place(op, data, offset, r)
	return nil
}

// usableText is a text that is known and not overdue.
func (w *writing) usableText(q pack.Quantity) string {
	if w.status.Value(q).Trust != pack.Known {
		return ""
	}
	return w.status.Text(q)
}

func (w *writing) text(op *mapping.Op, data []byte) error {
	field := data[op.Start:op.Need]
	text := ""
	if op.Target != nil {
		text = w.usableText(op.Target.Quantity)
		text = text[min(op.Target.Element, len(text)):]
		if text == "" {
			text = w.pieces[*op.Target]
		}
	}
	if text == "" && op.Write != nil {
		text = op.Write.Text
	}
	if len(text) > len(field) && !op.Continued {
		return &NoRoomError{fieldName(op), strconv.Quote(text), op.Type.Name}
	}
	for i := copy(field, text); i < len(field); i++ {
		field[i] = op.Pad
	}
	return nil
}
