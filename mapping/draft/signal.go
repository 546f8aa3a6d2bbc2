package draft

import (
	"fmt"
	"math"
	"strconv"

	"go.einride.tech/can/pkg/dbc"

	"packlink/decode/pack"
)

// bitPlace is a bit of a frame: its byte, and its number in it.
type bitPlace struct{ at, bit int }

// bitsOf are the bits of a signal, from the one that DBC starts at. In little
// endian order that is the least significant one, and the others follow upwards;
// in big endian order it is the most significant one, and the others follow
// downwards, from bit 0 of a byte to bit 7 of the next.
func bitsOf(s *dbc.SignalDef) []bitPlace {
	places := make([]bitPlace, 0, 64)
	at, bit := int(s.StartBit/8), int(s.StartBit%8)
	for range s.Size {
		places = append(places, bitPlace{at, bit})
		switch {
		case !s.IsBigEndian && bit == 7:
			at, bit = at+1, 0
		case !s.IsBigEndian:
			bit++
		case bit == 0:
			at, bit = at+1, 7
		default:
			bit--
		}
	}
	return places
}

// signal is a signal as a field. taken are the bits that earlier signals of the
// message have.
func (d *database) signal(def *dbc.MessageDef, s *dbc.SignalDef, taken map[bitPlace]string) field {
	f := field{name: string(s.Name), bits: int(min(s.Size, math.MaxUint8)), unit: s.Unit, notes: d.described(def, s), scale: pack.Int(1)}
	order := map[bool]string{true: "big", false: "little"}[s.IsBigEndian]
	if s.IsBigEndian != d.big {
		f.extra = ", byte_order: " + order
	}
	if f.lost = d.typed(&f, def, s); f.lost == "" {
		f.lost = f.put(def, s, taken)
	}
	if f.lost != "" {
		f.notes = append(f.notes, fmt.Sprintf("%d bits from bit %d on, as the source counts, %s endian", s.Size, s.StartBit, order))
	}
	return f
}

// put says where the field stands, or why it can stand nowhere: at is its first
// byte; bit is its least significant bit, in big endian order that of its last
// byte.
func (f *field) put(def *dbc.MessageDef, s *dbc.SignalDef, taken map[bitPlace]string) (why string) {
	places := bitsOf(s)
	first, last := places[0], places[len(places)-1]
	f.at, f.bit = first.at, first.bit
	if s.IsBigEndian {
		f.bit = last.bit
	}
	switch {
	case last.at >= int(def.Size):
		return fmt.Sprintf("it ends at byte %d, and the message has %d", last.at+1, def.Size)
	case f.bit+f.bits > 64:
		return "it reaches into nine bytes, and at most eight are read at once"
	}
	return take(places, f.name, taken)
}

// take notes that the bits are a signal's, or says whose they are already.
func take(places []bitPlace, name string, taken map[bitPlace]string) (why string) {
	for _, p := range places {
		if other := taken[p]; other != "" {
			return fmt.Sprintf("it shares bits with %s", other)
		}
	}
	for _, p := range places {
		taken[p] = name
	}
	return ""
}

// typed says the type of the field, and how its raw value becomes a value.
func (d *database) typed(f *field, def *dbc.MessageDef, s *dbc.SignalDef) (why string) {
	base := "u"
	switch {
	case s.Size == 0 || s.Size > 64:
		return fmt.Sprintf("it has %d bits, and a field 1 to 64", s.Size)
	case d.floats[owner{def.MessageID, s.Name}] != dbc.SignalValueTypeInt:
		base = "f"
		if s.Size != 32 && s.Size != 64 {
			return fmt.Sprintf("a float has 32 or 64 bits, and this one %d", s.Size)
		}
	case s.IsSigned && s.Size > 1:
		base = "i"
	case s.IsSigned:
		f.notes = append(f.notes, "the source calls its one bit signed")
	}
	f.as = fmt.Sprintf("%s%d", base, s.Size)
	var fits [4]bool
	f.scale, fits[0] = decimal(s.Factor)
	f.offset, fits[1] = decimal(s.Offset)
	if !fits[0] || !fits[1] || f.scale.Coef == 0 {
		f.notes = append(f.notes, fmt.Sprintf("left out: value = raw x %v + %v, in %s, which a mapping cannot say exactly", s.Factor, s.Offset, s.Unit))
		d.lose("%s, %s: the scale %v and the offset %v cannot be said exactly", def.Name, s.Name, s.Factor, s.Offset)
		f.bare, f.unit, f.scale, f.offset = true, "", pack.Int(1), pack.Decimal{}
	}
	f.low, fits[2] = decimal(s.Minimum)
	f.high, fits[3] = decimal(s.Maximum)
	f.bounded = fits[2] && fits[3] && s.Minimum < s.Maximum && !coversAll(s)
	return ""
}

// coversAll tells whether the bounds of a signal leave no raw value out, so that
// they say nothing.
func coversAll(s *dbc.SignalDef) bool {
	least, most := 0.0, math.Ldexp(1, int(s.Size))-1
	if s.IsSigned {
		least, most = -math.Ldexp(1, int(s.Size)-1), math.Ldexp(1, int(s.Size)-1)-1
	}
	low, high := least*s.Factor+s.Offset, most*s.Factor+s.Offset
	return s.Minimum <= min(low, high) && s.Maximum >= max(low, high)
}

// decimal is a float as the shortest decimal that gives it.
func decimal(v float64) (pack.Decimal, bool) {
	d, err := pack.ParseDecimal(strconv.FormatFloat(v, 'f', -1, 64))
	return d, err == nil
}
