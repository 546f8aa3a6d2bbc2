package decode

import (
	"fmt"
	"slices"
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
	sight  *sight                                // what derived fields look at
	ofCell bool                                  // the fields speak of one cell
	cell   int                                   // its element in lists, from 0
	refuse func(op *mapping.Op, err error) error // asked about a field that cannot be written

	original []byte // the payload that the status was read from; nil if there is none
}

// newWriting begins to write what a status knows: of a bank with its packs, or of
// a pack. It refuses what cannot be written.
func newWriting(p *mapping.Program, s *pack.Status, packs []pack.Status, named *lets) *writing {
	seen := &sight{whole: s, packs: packs}
	if p.Read != nil && p.Read.PackAt > 0 {
		seen.pack = s
	}
	return &writing{status: s, lets: named, sight: seen, refuse: func(_ *mapping.Op, err error) error { return err }}
}

// Payload appends the payload of a message that says what the status knows.
// Values that an output must not show (see [pack.Status.Usable]) are written as
// "not available". The error is a [*NotKnownError] or a [*NoRoomError]; b is
// returned as it was then.
func Payload(p *mapping.Program, s *pack.Status, b []byte) ([]byte, error) {
	return newWriting(p, s, nil, rolled(p, 0)).payload(p, p.MaxBytes, b)
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

// reach is the byte after the last that a field is written to, of a payload of at
// most so many bytes. Of a list whose end lies beyond it, it is that of the last
// element which does not; 0 if there is none.
func (w *writing) reach(op *mapping.Op, most int) int {
	if !w.lets.meets(op) {
		return 0
	}
	begin := w.lets.begin(op)
	count, _ := w.lets.count(op)
	if op.Kind == mapping.OpElement && op.RepeatSlot < 0 {
		first, _ := w.lets.first(op)
		count = min(count, len(w.status.Elements(op.Quantity))-first)
	}
	for i := count - 1; i >= 0; i-- {
		if end := begin + op.Need + i*op.StepBytes; end <= most {
			return end
		}
	}
	return 0
}

// prepare gives the named fields that reading did not give their values: what
// known fields depend on has a value at which they are there, a count is the
// elements that the status has, a part is the first, and others are their
// constants.
func (w *writing) prepare(p *mapping.Program) {
	for i := range p.Body.All {
		if op := &p.Body.All[i]; op.WhenSlot >= 0 && w.knows(op) {
			w.require(p, op)
		}
	}
	for i := range p.Body.All {
		op := &p.Body.All[i]
		if op.PageSlot >= 0 {
			w.name(op.PageSlot, int64(op.PageFirst))
		}
		if op.RepeatSlot >= 0 && op.Target != nil {
			w.name(op.RepeatSlot, int64(max(len(w.status.Elements(op.Target.Quantity))-op.Target.Element, 0)))
		}
	}
	for i := range p.Body.All {
		if op := &p.Body.All[i]; op.RepeatSlot >= 0 && op.Kind == mapping.OpCodes {
			w.nameCodes(op)
		}
	}
	for i := range p.Named {
		if op := &p.Named[i]; op.Write != nil && op.Derive == nil {
			n, _ := whole(op, op.Write.Raw)
			w.name(op.Slot, n)
		}
	}
}

// require gives what a field depends on, and what that depends on, the value at
// which the field is there.
func (w *writing) require(p *mapping.Program, op *mapping.Op) {
	for op.WhenSlot >= 0 {
		slot := op.WhenSlot
		w.name(slot, op.WhenValues[0])
		i := slices.IndexFunc(p.Named, func(named mapping.Op) bool { return named.Slot == slot })
		if i < 0 {
			return
		}
		op = &p.Named[i]
	}
}

func (w *writing) name(slot int, value int64) {
	if w.lets.known>>slot&1 == 0 {
		w.lets.values[slot], w.lets.known = value, w.lets.known|1<<slot
	}
}

// knows tells whether the status has a value for a field.
func (w *writing) knows(op *mapping.Op) bool {
	switch op.Kind {
	case mapping.OpNumber, mapping.OpFlag:
		_, known := w.status.Usable(op.Target.Quantity)
		return known
	case mapping.OpAlarms, mapping.OpCodes:
		return w.status.Alarms.Known&op.Known != 0
	case mapping.OpText, mapping.OpDigits, mapping.OpWord, mapping.OpDate:
		return op.Target != nil && w.usableText(op.Target.Quantity) != ""
	}
	return op.Write != nil || op.Rolling || op.Target != nil && w.status.Has(op.Target.Quantity)
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
				if err = w.refuse(op, err); err != nil {
					return err
				}
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
		return w.text(op, data)
	case mapping.OpCodes:
		return w.writeCodes(op, data)
	}
	r, other := w.otherRaw(op)
	err := error(nil)
	if !other {
		r, err = w.rawOf(op)
	}
	if err == nil {
		place(op, data, 0, r)
	}
	return err
}

// rawOf is the raw value of a field that is one number.
func (w *writing) rawOf(op *mapping.Op) (uint64, error) {
	switch op.Kind {
	case mapping.OpNumber:
		v, known := w.status.Usable(op.Target.Quantity)
		return w.number(op, v, known)
	case mapping.OpFlag:
		v, known := w.flag(op.Target.Quantity)
		return flagRaw(op, v.Coef != 0, known)
	case mapping.OpAlarms:
		return alarmsRaw(op, w.status)
	case mapping.OpFlags:
		return flagsRaw(op, w.status)
	case mapping.OpWord:
		return wordRaw(op, w.usableText(op.Quantity))
	case mapping.OpDate:
		return dateRaw(op, w.usableText(op.Quantity))
	case mapping.OpDigits:
		v, err := pack.ParseDecimal(w.usableText(op.Target.Quantity))
		return w.number(op, v, err == nil)
	case mapping.OpEquals:
		return op.Equals.Raw, nil
	case mapping.OpAddress:
		return wholeRaw(op, int64(w.status.Address), w.status.HasAddress)
	}
	v, known := w.lets.get(op.Slot)
	if !known && op.Derive != nil {
		return w.derived(op)
	}
	if scaled := v*op.Mul + op.Add; known && (scaled < op.Low || scaled > op.High) {
		return 0, &NoRoomError{fieldName(op), pack.Int(v).String(), "its range"}
	}
	return wholeRaw(op, v, known)
}

// wholeRaw is the raw value of a field that is a whole number.
func wholeRaw(op *mapping.Op, v int64, known bool) (uint64, error) {
	if !known {
		return unknownRaw(op)
	}
	r, fits := rawOfWhole(op, v)
	if !fits {
		return 0, &NoRoomError{fieldName(op), pack.Int(v).String(), op.Type.Name}
	}
	return r, nil
}

// derived is the raw value of a field that is worked out.
func (w *writing) derived(op *mapping.Op) (uint64, error) {
	if d := op.Derive; d.Words == nil {
		v, known := w.sight.number(d, op.Scale.Coef < 0)
		return w.number(op, v, known)
	}
	said := w.sight.word(op.Derive.Figure)
	for _, word := range op.Derive.Words {
		if word.Word == said {
			return word.Raw, nil
		}
	}
	return unknownRaw(op)
}

// unknownRaw is what a field says when nothing is known: its constant, else
// "not available", else an error.
func unknownRaw(op *mapping.Op) (uint64, error) {
	switch {
	case op.Write != nil:
		return op.Write.Raw, nil
	case len(op.Missing) > 0:
		return op.Missing[0], nil
	case op.Type.Base == mapping.Float:
		return notANumber(op.Type.Bits), nil
	}
	return 0, &NotKnownError{fieldName(op)}
}

func fieldName(op *mapping.Op) string {
	switch {
	case op.Let != "":
		return op.Let
	case op.Target != nil:
		return op.Target.Quantity.String()
	case op.Address:
		return "address"
	}
	return "alarms"
}

// number is the raw value nearest to v, rounded half away from zero.
func (w *writing) number(op *mapping.Op, v pack.Decimal, known bool) (uint64, error) {
	scale := op.Scale
	if op.ScaleSlot >= 0 {
		power, knownPower := w.lets.get(op.ScaleSlot)
		known = known && knownPower
		scale.Exp += int8(power)
	}
	if !known {
		return unknownRaw(op)
	}
	rawOf := wholeOf
	if op.Type.Base == mapping.Float {
		rawOf = floatOf
	}
	r, fits := rawOf(op, v, scale)
	if !fits || missing(op, r) {
		return 0, &NoRoomError{fieldName(op), v.String(), op.Type.Name}
	}
	return r, nil
}

// wholeOf is the whole number nearest to (v - offset) / scale, as the bits of a
// field.
func wholeOf(op *mapping.Op, v, scale pack.Decimal) (r uint64, ok bool) {
	difference, okSub := v.Sub(op.Offset)
	quotient, okDiv := difference.Div(scale, 0)
	r, fits := rawOfWhole(op, quotient.Coef)
	return r, okSub && okDiv && fits
}

// flag is a flag of the status, or of the present cell.
func (w *writing) flag(q pack.Quantity) (v pack.Decimal, known bool) {
	if !q.Row().Kind.List() {
		return w.status.Usable(q)
	}
	element := w.element(q, w.cell)
	return element.Decimal(), element.Trust == pack.Known
}

// element is an element of a list, from 0; unknown if the list has no such one.
// Sensors are those of cells only if there are as many.
func (w *writing) element(q pack.Quantity, i int) pack.Value {
	elements := w.status.Elements(q)
	strangers := w.ofCell && q == pack.Temps && len(elements) != len(w.status.Elements(pack.Cells))
	if i >= len(elements) || strangers {
		return pack.Value{}
	}
	return elements[i]
}

func flagRaw(op *mapping.Op, on, known bool) (uint64, error) {
	if !known {
		return unknownRaw(op)
	}
	if len(op.Values) == 0 {
		if on {
			return 1, nil
		}
		return 0, nil
	}
	for _, meaning := range op.Values {
		if meaning.On == on && !meaning.Other {
			return meaning.Raw, nil
		}
	}
	return unknownRaw(op)
}

// alarmsRaw is the bits or pairs of alarms. An alarm of unknown state is
// neither on nor off; in a plain bit, which cannot say so, it is off.
func alarmsRaw(op *mapping.Op, s *pack.Status) (r uint64, err error) {
	if s.Alarms.Known&op.Known == 0 || s.AlarmsStale {
		return unknownRaw(op)
	}
	var on, off uint64 // bit i for slot i
	for _, slot := range op.Alarms {
		active, known := s.Alarms.State(slot.Alarm)
		switch {
		case active:
			on |= 1 << slot.Slot
		case known:
			off |= 1 << slot.Slot
		}
	}
	return spread(op, on, op.On) | spread(op, off&^on, op.Off), nil
}

func flagsRaw(op *mapping.Op, s *pack.Status) (r uint64, err error) {
	elements := s.Elements(op.Target.Quantity)
	first := op.Target.Element
	if first >= len(elements) || s.Stale(op.Target.Quantity) {
		return unknownRaw(op)
	}
	for i, v := range elements[first:min(first+op.Type.Bits, len(elements))] {
		if v.Trust&pack.Known == 0 {
			return unknownRaw(op)
		}
		r |= uint64(v.Coef) << i
	}
	return r, nil
}

func (w *writing) elements(op *mapping.Op, data []byte) error {
	first, _ := w.lets.first(op)
	count, _ := w.lets.count(op)
	for i := range count {
		offset := i * op.StepBytes
		if op.Need+offset > len(data) {
			return nil
		}
		v := w.element(op.Target.Quantity, first+i+w.cell)
		r, err := w.number(op, v.Decimal(), v.Trust == pack.Known)
		if err != nil {
			return err
		}
		place(op, data, offset, r)
	}
	w.fill(op, data, count)
	return nil
}

// fill writes elements that are not counted as "not available", if the field can
// say so and nothing else takes their place.
func (w *writing) fill(op *mapping.Op, data []byte, count int) {
	if op.Followed {
		return
	}
	r, err := unknownRaw(op)
	for i := count; i < op.Repetitions() && err == nil; i++ {
		if offset := i * op.StepBytes; op.Need+offset <= len(data) {
			place(op, data, offset, r)
		}
	}
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
	}
	if text == "" && op.Write != nil {
		text = op.Write.Text
	}
	if len(text) > len(field) && !op.Continued {
		return &NoRoomError{fieldName(op), strconv.Quote(text), op.Type.Name}
	}
	clear(field)
	copy(field, text)
	return nil
}
