package pack

// Status is what is known about one pack at one instant, or about a bank as a
// whole. The zero value knows nothing. Copy it with [Status.CopyTo], as its
// lists are shared by assignment.
type Status struct {
	Time       int64 // nanoseconds since the Unix epoch of the newest frame used; 0 if there is none
	Now        int64 // the instant the status speaks of, in the same unit; age_s is Now - Time
	Source     string
	Mapping    string
	Address    uint32
	HasAddress bool
	Fresh      bool // the pack is heard: a message that speaks of the present is not overdue

	Alarms      AlarmSet
	AlarmsStale bool // a message that carries alarms is overdue

	values    [Count]Value
	texts     [MadeOn + 1]text
	cells     []Value
	temps     []Value
	balancing []Value
}

// list is where a list quantity's elements are kept.
func (s *Status) list(q Quantity) *[]Value {
	switch q {
	case Cells:
		return &s.cells
	case Temps:
		return &s.temps
	case Balancing:
		return &s.balancing
	}
	panic("pack: " + q.String() + " is not a list")
}

// Put writes a number or a flag as it is, with its time and trust. A value
// whose trust is 0 makes the quantity unknown.
func (s *Status) Put(q Quantity, v Value) { s.values[q] = v }

// Place is where a quantity's value is held, to be written in place: the fast
// way to write a number or a flag.
func (s *Status) Place(q Quantity) *Value { return &s.values[q] }

// SetNumber writes a number that is known and trusted.
func (s *Status) SetNumber(q Quantity, d Decimal, at int64) {
	s.values[q] = Value{Coef: d.Coef, Exp: d.Exp, At: at, Trust: Known}
}

// SetFlag writes a flag that is known and trusted.
func (s *Status) SetFlag(q Quantity, on bool, at int64) {
	v := Value{At: at, Trust: Known}
	if on {
		v.Coef = 1
	}
	s.values[q] = v
}

// PutText writes a text quantity; v gives time and trust.
func (s *Status) PutText(q Quantity, whole []byte, v Value) {
	s.texts[q].reset()
	s.texts[q].write(0, whole)
	s.values[q] = v
}

// PutPiece writes a piece of a text quantity; v gives its time, message and trust. The
// text is not known before all pieces have come, none of them overdue by then, and is
// as old as the piece that will be overdue first. A piece that changes begins another
// text.
func (s *Status) PutPiece(q Quantity, p *Piece, part []byte, v Value) {
	t := &s.texts[q]
	switch {
	case t.differs(p.From, part):
		t.reset()
	case s.values[q].Trust == 0:
		t.forgetUntil(v.At)
	}
	t.write(p.From, part)
	t.hear(piece{p.From, p.From + len(part), v.At, v.At + p.Lasts, v.By})
	if !t.whole(p.All) {
		s.values[q] = Value{}
		return
	}
	if first := t.firstOverdue(); first != nil {
		v.At, v.By = first.at, first.by
	}
	s.values[q] = v
}

// PutElement writes element i, from 0, of a list quantity. It does nothing
// beyond the list's greatest length.
func (s *Status) PutElement(q Quantity, i int, v Value) {
	if i < 0 || i >= catalogue[q].Max {
		return
	}
	list := s.list(q)
	for len(*list) <= i {
		*list = append(*list, Value{})
	}
	(*list)[i] = v
}

// Truncate cuts a list quantity to its first n elements.
func (s *Status) Truncate(q Quantity, n int) {
	list := s.list(q)
	*list = (*list)[:min(n, len(*list))]
}

// Clear makes a quantity unknown.
func (s *Status) Clear(q Quantity) {
	s.values[q] = Value{}
	if catalogue[q].Kind.List() {
		s.Truncate(q, 0)
	}
}

// Value is the quantity's value as it is held, trusted or not.
func (s *Status) Value(q Quantity) Value { return s.values[q] }

// Usable is the value that an output which cannot mark trust may show: one
// that is known, within its range and not overdue, or what an overdue
// permission has become.
func (s *Status) Usable(q Quantity) (Decimal, bool) {
	v := s.values[q]
	fresh := v.Trust == Known
	forbidden := v.Trust == Known|Stale && catalogue[q].Overdue == Forbids
	return v.Decimal(), fresh || forbidden
}

// Text is a text quantity, "" if it is not known.
func (s *Status) Text(q Quantity) string { return string(s.TextBytes(q)) }

// TextBytes is a text quantity, empty if it is not known. It holds until the
// status is written again.
func (s *Status) TextBytes(q Quantity) []byte {
	if s.values[q].Trust&Known == 0 {
		return nil
	}
	return s.texts[q].trimmed()
}

// Elements are a list quantity's values, from cell or sensor 1. They hold
// until the status is written again.
func (s *Status) Elements(q Quantity) []Value {
	list := *s.list(q)
	for len(list) > 0 && list[len(list)-1].Trust == 0 {
		list = list[:len(list)-1]
	}
	return list
}

// trust is the quantity's trust; of a list, every bit that one of its elements
// has.
func (s *Status) trust(q Quantity) Trust {
	if !catalogue[q].Kind.List() {
		return s.values[q].Trust
	}
	var trust Trust
	for _, v := range *s.list(q) {
		trust |= v.Trust
	}
	return trust
}

// Has tells whether anything is known of the quantity.
func (s *Status) Has(q Quantity) bool { return s.trust(q)&Known != 0 }

// Stale tells whether the quantity, or an element of it, is overdue.
func (s *Status) Stale(q Quantity) bool { return s.trust(q)&Stale != 0 }

// Suspect tells whether some value lies outside its plausible range.
func (s *Status) Suspect() bool {
	for q := range Count {
		if s.trust(q)&(Below|Above) != 0 {
			return true
		}
	}
	return false
}

// CopyTo makes to an independent copy, which reuses the lists that to has.
func (s *Status) CopyTo(to *Status) {
	cells, temps, balancing := to.cells[:0], to.temps[:0], to.balancing[:0]
	texts := to.texts
	*to = *s
	for i := range texts {
		to.texts[i].pieces = append(texts[i].pieces[:0], s.texts[i].pieces...)
	}
	to.cells = append(cells, s.cells...)
	to.temps = append(temps, s.temps...)
	to.balancing = append(balancing, s.balancing...)
}

// Expire applies the rule of each quantity to the values that overdue calls
// overdue: see [Overdue].
func (s *Status) Expire(overdue func(Value) bool) {
	for q := range Count {
		v := &s.values[q]
		if v.Trust != 0 && overdue(*v) {
			expire(v, catalogue[q].Overdue)
		}
	}
	for _, list := range [][]Value{s.cells, s.temps, s.balancing} {
		for i := range list {
			if list[i].Trust != 0 && overdue(list[i]) {
				list[i].Trust |= Stale
			}
		}
	}
}

// Silence drops the overdue values that say more than who the pack is: the
// pack is not heard any more. Their keys stay listed as stale.
func (s *Status) Silence() {
	for q := range Count {
		if v := &s.values[q]; v.Trust&Stale != 0 && catalogue[q].Overdue == Marked && catalogue[q].Kind != Word {
			v.Trust = Stale
		}
	}
	for _, list := range [][]Value{s.cells, s.temps, s.balancing} {
		for i := range list {
			if list[i].Trust&Stale != 0 {
				list[i].Trust = Stale
			}
		}
	}
	s.Alarms = AlarmSet{}
}

func expire(v *Value, rule Overdue) {
	switch rule {
	case Forbids:
		v.Coef, v.Exp, v.Trust = 0, 0, Known|Stale
	case Withheld:
		v.Trust = Stale
	default:
		v.Trust |= Stale
	}
}
