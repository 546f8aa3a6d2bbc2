package decode

import (
	"packlink/decode/pack"
	"packlink/mapping"
)

// The powers of ten that a register can say (SunSpec scale factors, from memory:
// -10 to 10).
const (
	finestPower   = -10
	coarsestPower = 10
)

// powers are the powers of ten that were chosen, by where they stand.
type powers map[powerPlace]int64

type powerPlace struct{ message, number, slot int }

// choose gives each power of ten of a message that is chosen at writing its value:
// one at which no value that shares it loses a digit; else the finest at which
// all fit. One without any value stays unknown. Nil powers remember nothing.
func (known powers) choose(p *mapping.Program, w *writing, number int) {
	for i := range p.Named {
		op := &p.Named[i]
		if !op.Finest || w.lets.known>>op.Slot&1 != 0 {
			continue
		}
		place := powerPlace{p.Index, number, op.Slot}
		before, had := known[place]
		need := powerSpan{finestPower, 0}
		n := 0
		w.sharing(p, op.Slot, func(op *mapping.Op, v pack.Decimal) {
			need.add(op, v)
			n++
		})
		if n == 0 {
			continue
		}
		power := need.power(before, had)
		if known != nil {
			known[place] = power
		}
		w.name(op.Slot, power)
	}
}

// powerSpan are the powers at which all values fit and are exact: from fits to exact.
type powerSpan struct {
	fits  int64 // the finest at which all fit
	exact int64 // the coarsest at which all are exact
}

// power is the coarsest exact power, or the one before if that does as well.
func (s *powerSpan) power(before int64, had bool) int64 {
	if had && before >= s.fits && before <= s.exact {
		return before
	}
	return max(s.fits, s.exact)
}

// add narrows the powerSpan for one more value. One that no power can hold has no say.
func (s *powerSpan) add(op *mapping.Op, v pack.Decimal) {
	fits := int64(finestPower)
	for ; !fitsAt(op, v, fits); fits++ {
		if fits == coarsestPower {
			return
		}
	}
	s.fits = max(s.fits, fits)
	for s.exact > finestPower && !exactAt(op, v, s.exact) {
		s.exact--
	}
}

func scaleAt(op *mapping.Op, power int64) pack.Decimal {
	return pack.Decimal{Coef: op.Scale.Coef, Exp: op.Scale.Exp + int8(power)}
}

// fitsAt tells whether something of the value is left at a power, and fits.
func fitsAt(op *mapping.Op, v pack.Decimal, power int64) bool {
	quotient, ok := v.Div(scaleAt(op, power), 0)
	r, fits := rawOfWhole(op, quotient.Coef)
	return ok && fits && !missing(op, r) && (quotient.Coef != 0 || v.Coef == 0)
}

func exactAt(op *mapping.Op, v pack.Decimal, power int64) bool {
	scale := scaleAt(op, power)
	quotient, ok := v.Div(scale, 0)
	product, okBack := quotient.Mul(scale)
	return ok && okBack && product.Cmp(v) == 0
}

// sharing goes through the values that the fields with one power of ten will be
// written from.
func (w *writing) sharing(p *mapping.Program, slot int, take func(op *mapping.Op, v pack.Decimal)) {
	look := func(_ int, ops []mapping.Op) error {
		for i := range ops {
			if op := &ops[i]; op.ScaleSlot == slot {
				w.values(op, func(v pack.Decimal) { take(op, v) })
			}
		}
		return nil
	}
	_ = look(0, p.Named)
	_ = look(0, p.Body.All)
	_ = w.eachGroup(p, look)
}

// values gives the numbers that a field will be written from, if they are known.
func (w *writing) values(op *mapping.Op, take func(v pack.Decimal)) {
	var v pack.Decimal
	known := false
	switch op.Kind {
	case mapping.OpNumber:
		v, known = w.status.Usable(op.Target.Quantity)
	case mapping.OpLet:
		if op.Derive != nil {
			v, known = w.sight.number(op.Derive, op.Scale.Coef < 0)
		}
	case mapping.OpElement:
		for i := range op.Repetitions() {
			if e := w.element(op.Target.Quantity, op.Target.Element+i+w.cell); e.Trust == pack.Known {
				take(e.Decimal())
			}
		}
	}
	if known {
		take(v)
	}
}
