package decode

import (
	"errors"
	"math"

	"packlink/decode/pack"
	"packlink/mapping"
)

// Coverage is what reaches a reader of a mapping of all that is known.
type Coverage struct {
	Reaches []Reach
	Lost    []pack.Quantity // known, and no message that is written says it
	Alarms  pack.AlarmSet   // Known: the alarms that reach the reader; Active: those that are lost
	Unsent  []Unsent
}

// Reach is how a quantity reaches a reader.
type Reach struct {
	Quantity pack.Quantity
	Step     pack.Decimal // of a number, the smallest difference that a reader sees; 0 if it depends on the value
	Elements int          // of a list, how many can be told
	Short    bool         // Least to Most is less than what the sources can give and a pack can have; else they are 0
	Least    pack.Decimal // of a number
	Most     pack.Decimal
}

// Unsent is a message that is never written, and why.
type Unsent struct {
	Message string
	Why     error
}

// Knowable is a status in which everything is known that a mapping can give,
// without what follows from it. Each number is 1.
func Knowable(c *mapping.Compiled) *pack.Status {
	s := new(pack.Status)
	for i := range c.Programs {
		if p := &c.Programs[i]; !p.Passed {
			know(s, p.Body.All)
			know(s, p.Each.All)
			know(s, p.Cells.All)
		}
	}
	return s
}

func know(s *pack.Status, ops []mapping.Op) {
	for i := range ops {
		op := &ops[i]
		s.Alarms.Known |= op.Known
		switch {
		case op.Target == nil:
		case op.Quantity.Row().Kind == pack.Word:
			s.PutText(op.Quantity, []byte("1"), pack.Value{Trust: pack.Known})
		case !op.Quantity.Row().Kind.List():
			s.SetNumber(op.Quantity, pack.Int(1), 0)
		default:
			for e := op.Target.Element; e < endOf(op); e++ {
				s.PutElement(op.Quantity, e, pack.Value{Coef: 1, Trust: pack.Known})
			}
		}
	}
}

// Cover is what reaches a reader of the target of a status that knows all that the
// sources can give, and of each pack's own, which only messages with a group for
// each pack show.
func Cover(known, each *pack.Status, sources []*mapping.Compiled, target *mapping.Compiled) *Coverage {
	b := coverer{known: known, each: each, given: givenBy(sources), reached: make(map[pack.Quantity]Reach)}
	for i := range target.Programs {
		if p := &target.Programs[i]; !p.Passed {
			b.message(p)
		}
	}
	for q := range pack.Count {
		r, reaches := b.reached[q]
		switch {
		case reaches:
			b.Reaches = append(b.Reaches, r)
		case known.Has(q) || each.Has(q):
			b.Lost = append(b.Lost, q)
		}
	}
	b.Alarms.Active = (known.Alarms.Known | each.Alarms.Known) &^ b.Alarms.Known
	return &b.Coverage
}

// coverer collects what reaches a reader.
type coverer struct {
	Coverage
	known   *pack.Status
	each    *pack.Status
	given   map[pack.Quantity]limits
	reached map[pack.Quantity]Reach
}

// message notes what a message says, if it can be written.
func (b *coverer) message(p *mapping.Program) {
	of := b.known
	if p.Read != nil && p.Read.PackAt > 0 {
		of = b.each
	}
	w := newWriting(p, of, nil, rolled(p, 0))
	w.prepare(p)
	if p.Read == nil {
		var unknown *NotKnownError
		if _, err := newWriting(p, b.known, nil, rolled(p, 0)).payload(p, p.MaxBytes, nil); errors.As(err, &unknown) {
			b.Unsent = append(b.Unsent, Unsent{p.Name, err})
			return
		}
	}
	for i := range p.Body.All {
		if op := &p.Body.All[i]; w.lets.meets(op) {
			b.field(op, of, false, w.lets)
		}
	}
	for i := range p.Each.All {
		b.field(&p.Each.All[i], b.each, false, w.lets)
	}
	for i := range p.Cells.All {
		b.field(&p.Cells.All[i], of, true, w.lets)
	}
}

// field notes what a field says of a status. One that is there for each cell says the
// whole list.
func (b *coverer) field(op *mapping.Op, s *pack.Status, eachCell bool, named *lets) {
	b.Alarms.Known |= op.Known & s.Alarms.Known
	q := op.Quantity
	if op.Target == nil || !s.Has(q) || eachCell && !ofCells(s, q) {
		return
	}
	r, again := b.reached[q]
	r.Quantity = q
	if q.Row().Kind.List() {
		end := len(s.Elements(q))
		if !eachCell {
			end = min(end, endOf(op))
		}
		r.Elements = max(r.Elements, end)
	}
	if number := op.Kind == mapping.OpNumber || op.Kind == mapping.OpElement; number && op.Type.Base != mapping.Float {
		b.number(op, named, &r, again)
	}
	b.reached[q] = r
}

// number notes the step and the limits of a field. Of two fields that say the same,
// the reader has the finer one.
func (b *coverer) number(op *mapping.Op, named *lets, r *Reach, again bool) {
	power, fixed := int64(0), true
	if op.ScaleSlot >= 0 {
		power, fixed = named.get(op.ScaleSlot)
	}
	step := op.Scale
	step.Coef, step.Exp = max(step.Coef, -step.Coef), step.Exp+int8(power)
	if !fixed || again && step.Cmp(r.Step) >= 0 {
		return
	}
	l := limitsOf(op)
	l.low.Exp, l.high.Exp = l.low.Exp+int8(power), l.high.Exp+int8(power)
	r.Step, r.Short, r.Least, r.Most = step, false, pack.Decimal{}, pack.Decimal{}
	if given, has := b.given[op.Quantity]; has && (l.low.Cmp(given.low) > 0 || l.high.Cmp(given.high) < 0) {
		r.Short, r.Least, r.Most = true, l.low, l.high
	}
}

// limits are the least and the greatest value.
type limits struct{ low, high pack.Decimal }

// givenBy is what the sources' fields can say of each quantity, as far as a pack can
// have it.
func givenBy(sources []*mapping.Compiled) map[pack.Quantity]limits {
	given := make(map[pack.Quantity]limits)
	for _, c := range sources {
		for i := range c.Programs {
			for j := range c.Programs[i].Body.All {
				if op := &c.Programs[i].Body.All[j]; op.Kind == mapping.OpNumber || op.Kind == mapping.OpElement {
					widen(given, op)
				}
			}
		}
	}
	return given
}

func widen(given map[pack.Quantity]limits, op *mapping.Op) {
	s, has := spans[op.Quantity]
	if !has {
		return
	}
	l := limits{wholeDecimal(math.Ceil(s.low)), wholeDecimal(math.Floor(s.high))}
	if op.ScaleSlot < 0 && op.Type.Base != mapping.Float {
		field := limitsOf(op)
		l.low, l.high = greater(l.low, field.low), less(l.high, field.high)
	}
	if before, has := given[op.Quantity]; has {
		l.low, l.high = less(l.low, before.low), greater(l.high, before.high)
	}
	given[op.Quantity] = l
}

func wholeDecimal(f float64) pack.Decimal { return pack.Int(int64(f)) }

func less(a, b pack.Decimal) pack.Decimal {
	if a.Cmp(b) < 0 {
		return a
	}
	return b
}

func greater(a, b pack.Decimal) pack.Decimal {
	if a.Cmp(b) > 0 {
		return a
	}
	return b
}

// limitsOf are the values that a field can say: its range, else those of its raw
// values that mean no "not available". The field is no float, and scaled by itself.
func limitsOf(op *mapping.Op) limits {
	if op.Range != nil {
		return limits{op.Range.Low, op.Range.High}
	}
	low, high := rawLimits(op)
	a, b := valueOf(op, low), valueOf(op, high)
	return limits{less(a, b), greater(a, b)}
}

// valueOf is what a raw number of a field means.
func valueOf(op *mapping.Op, raw int64) pack.Decimal {
	return pack.Decimal{Coef: raw*op.Mul + op.Add, Exp: op.Exp}
}

// rawLimits are the least and the greatest number of a field that do not mean "not
// available".
func rawLimits(op *mapping.Op) (low, high int64) {
	switch bits := op.Type.Bits; op.Type.Base {
	case mapping.BCD:
		high = int64(math.Pow10(bits/4)) - 1
	case mapping.Signed:
		low, high = -1<<(bits-1), 1<<(bits-1)-1
	case mapping.SignMagnitude:
		low, high = -(1<<(bits-1) - 1), 1<<(bits-1)-1
	default:
		high = math.MaxInt64
		if bits < 63 {
			high = 1<<bits - 1
		}
	}
	for n := int64(1); low < high && n > 0; low += min(n, high-low) {
		_, n = missingFrom(op, low)
	}
	for n := int64(1); low < high && n > 0; high -= min(n, high-low) {
		n, _ = missingFrom(op, high)
	}
	return low, high
}

// missingFrom is how many numbers of a field, from n on, mean "not available", down
// and up; 0 if n does not. Where numbers do not follow one another as their bits do,
// it is n alone.
func missingFrom(op *mapping.Op, n int64) (down, up int64) {
	r, _ := rawOfWhole(op, n)
	for _, m := range op.Unavailable {
		switch {
		case !m.Holds(r):
		case op.Type.Base == mapping.Unsigned || op.Type.Base == mapping.Signed:
			return int64(r-m.First) + 1, int64(m.Last-r) + 1
		default:
			return 1, 1
		}
	}
	return 0, 0
}
