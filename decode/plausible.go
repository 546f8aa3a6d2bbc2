package decode

import (
	"math"

	"packlink/decode/pack"
	"packlink/mapping"
)

// span is where the values of any battery pack lie. Common practice, no source:
// wide enough for one cell in a row of four and for high-voltage racks.
type span struct{ low, high float64 }

// spans are the quantities whose values tell a pack from other things.
var spans = map[pack.Quantity]span{
	pack.Voltage:               {8, 1000},
	pack.Current:               {-1000, 1000},
	pack.SOC:                   {0, 100},
	pack.SOH:                   {1, 110},
	pack.Remaining:             {0, 5000},
	pack.Full:                  {1, 5000},
	pack.Nominal:               {1, 5000},
	pack.Cycles:                {0, 20000},
	pack.Cells:                 {1.5, 4.5},
	pack.CellMax:               {1.5, 4.5},
	pack.CellMaxAt:             {1, pack.MaxCells},
	pack.CellMin:               {1.5, 4.5},
	pack.CellMinAt:             {1, pack.MaxCells},
	pack.Temp:                  {-40, 120},
	pack.Temps:                 {-40, 120},
	pack.TempMax:               {-40, 120},
	pack.TempMin:               {-40, 120},
	pack.TempSwitch:            {-40, 150},
	pack.TempAmbient:           {-40, 100},
	pack.ChargeVoltageLimit:    {8, 1000},
	pack.DischargeVoltageLimit: {8, 1000},
	pack.ChargeCurrentLimit:    {0, 2000},
	pack.DischargeCurrentLimit: {0, 2000},
}

// mostFieldBits is the most that one field can say, as its value is no accident
// but no proof either.
const mostFieldBits = 8

// mostElements is how many elements of a list count, as they resemble each
// other.
const mostElements = 4

// impossibleBits is what a quantity says against a mapping by which no pack
// could have it.
const impossibleBits = 40

// expectations are what the values of a mapping's messages say if they are
// plausible: bits by message and quantity.
type expectations []map[pack.Quantity]float64

func expectationsOf(table *mapping.Compiled) expectations {
	e := make(expectations, len(table.Programs))
	for i := range table.Programs {
		e[i] = make(map[pack.Quantity]float64)
		for j := range table.Programs[i].Body.All {
			op := &table.Programs[i].Body.All[j]
			s, has := spans[op.Quantity]
			if op.Target == nil || !has || op.Kind != mapping.OpNumber && op.Kind != mapping.OpElement {
				continue
			}
			e[i][op.Quantity] = fieldBits(op, s) * float64(min(op.Repetitions(), mostElements))
		}
	}
	return e
}

// fieldBits is how unlikely it is that random bits of the field mean a value
// inside the span: the logarithm of all raw values against those inside.
func fieldBits(op *mapping.Op, s span) float64 {
	if op.ScaleSlot >= 0 || op.Scale.Coef == 0 {
		return 1
	}
	width := min(op.Type.Bits, 62)
	inside := (s.high-s.low)/math.Abs(op.Scale.Float64()) + 1
	return min(max(float64(width)-math.Log2(inside), 0), mostFieldBits)
}

// judgement counts how often a quantity's values were plausible.
type judgement struct{ good, bad int }

// add judges a value. A zero says nothing, as bytes that mean nothing are
// often zero, unless no pack has it.
func (j *judgement) add(v pack.Value, s span) {
	f := v.Decimal().Float64()
	switch {
	case v.Suspect() || f < s.low || f > s.high:
		j.bad++
	case v.Coef != 0:
		j.good++
	}
}

// impossible tells whether hardly any value is one that a pack can have.
func (j *judgement) impossible() bool {
	n := j.good + j.bad
	return n >= 3 && 10*j.bad >= 9*n
}

// weight is what the values say, of a quantity that is worth so many bits: for
// the mapping if they are plausible but for a few that may be damaged, against it
// if many are not, and much against it if hardly any is.
func (j *judgement) weight(worth float64) float64 {
	n := j.good + j.bad
	switch {
	case n < 3:
		return 0
	case 4*j.good >= 3*n:
		return worth
	case j.impossible():
		return -impossibleBits
	case 3*j.bad >= n:
		return -max(worth, 4)
	}
	return 0
}
