package decode

import (
	"fmt"

	"packlink/decode/pack"
	"packlink/mapping"
)

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
	if !fits || missing(op, r) {
		return 0, &NoRoomError{fieldName(op), pack.Int(v).String(), op.Type.Name}
	}
	return r, nil
}

// bitsRaw is the raw value of a field whose bits each say something. They must not
// mean "not available" together.
func bitsRaw(op *mapping.Op, r uint64) (uint64, error) {
	if missing(op, r) {
		return 0, &NoRoomError{fieldName(op), fmt.Sprintf("%#x", r), op.Type.Name + `, where that means "not available"`}
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
		return op.Missing[0].First, nil
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
func (w *writing) element(q pack.Quantity, i int) pack.Value {
	elements := w.status.Elements(q)
	if i >= len(elements) || w.ofCell && !ofCells(w.status, q) {
		return pack.Value{}
	}
	return elements[i]
}

// ofCells tells whether the elements of a list can be those of the cells: sensors are
// only if there are as many.
func ofCells(s *pack.Status, q pack.Quantity) bool {
	return q != pack.Temps || len(s.Elements(q)) == len(s.Elements(pack.Cells))
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
