package pack

import (
	"testing"

	"pgregory.net/rapid"
)

// cellStatus has the given cells in mV; 0 is a cell that is not known.
func cellStatus(millivolts ...int64) *Status {
	var s Status
	for i, mV := range millivolts {
		if mV != 0 {
			s.PutElement(Cells, i, Value{Coef: mV, Exp: -3, At: int64(i + 1), Trust: Known})
		}
	}
	return &s
}

// wantText checks quantities by their texts; "" is one that is not known.
func wantText(t *testing.T, name string, s *Status, want map[Quantity]string) {
	t.Helper()
	for q, text := range want {
		got := ""
		if s.Has(q) {
			got = s.Value(q).Decimal().String()
		}
		if got != text {
			t.Errorf("%s: %v is %q, want %q", name, q, got, text)
		}
	}
}

func TestDeriveExtremes(t *testing.T) {
	nothing := map[Quantity]string{CellMax: "", CellMaxAt: "", CellMin: "", CellMinAt: "", CellSpread: ""}
	for _, c := range []struct {
		name  string
		cells []int64
		want  map[Quantity]string
	}{
		{"no cells", nil, nothing},
		{"unknown cells", []int64{0, 0}, nothing},
		{"one cell", []int64{3300}, map[Quantity]string{CellMax: "3.3", CellMaxAt: "1", CellMin: "3.3", CellMinAt: "1", CellSpread: "0"}},
		{"four cells", []int64{3301, 3299, 3310, 3300}, map[Quantity]string{CellMax: "3.31", CellMaxAt: "3", CellMin: "3.299", CellMinAt: "2", CellSpread: "0.011"}},
		{"of equal cells the first", []int64{3300, 3310, 3310, 3300}, map[Quantity]string{CellMaxAt: "2", CellMinAt: "1"}},
		{"a missing cell is counted", []int64{0, 3300, 0, 3310}, map[Quantity]string{CellMaxAt: "4", CellMinAt: "2"}},
	} {
		s := cellStatus(c.cells...)
		s.Derive()
		wantText(t, c.name, s, c.want)
	}
}

// A cell that cannot be trusted might be the extreme.
func TestOneUntrustedElementLeavesTheExtremeUnknown(t *testing.T) {
	for _, trust := range []Trust{Known | Stale, Stale, Known | Below, Known | Above} {
		s := cellStatus(3300, 3310, 3305)
		s.PutElement(Cells, 1, Value{Coef: 3302, Exp: -3, At: 1, Trust: trust})
		s.PutElement(Temps, 0, known(20))
		s.PutElement(Temps, 1, Value{Coef: 21, Trust: trust})
		s.Derive()
		for _, q := range []Quantity{CellMax, CellMaxAt, CellMin, CellMinAt, CellSpread, TempMax, TempMin} {
			if s.Value(q) != (Value{}) {
				t.Errorf("with an element of trust %04b %v is %+v", trust, q, s.Value(q))
			}
		}
	}
}

func TestDeriveTemperatures(t *testing.T) {
	var s Status
	for i, d := range []Decimal{{-5, 0}, {215, -1}, {-51, -1}, {2150, -2}} {
		s.PutElement(Temps, i, Value{Coef: d.Coef, Exp: d.Exp, At: int64(10 + i), Trust: Known})
	}
	s.Derive()
	wantText(t, "temperatures", &s, map[Quantity]string{TempMax: "21.5", TempMin: "-5.1", Temp: "", CellMax: ""})
	if s.Value(TempMax).At != 11 || s.Value(TempMin).At != 12 {
		t.Errorf("the times are %d and %d, want those of the elements", s.Value(TempMax).At, s.Value(TempMin).At)
	}
}

func TestDerivePowerAndSpread(t *testing.T) {
	volts, amperes := Value{Coef: 528, Exp: -1, At: 7, Trust: Known}, Value{Coef: -105, Exp: -1, At: 5, Trust: Known}
	for _, c := range []struct {
		name           string
		voltage, other Value
		power, spread  string
	}{
		{"both known", volts, amperes, "-554.4", "63.3"},
		{"no voltage", Value{}, amperes, "", ""},
		{"no current", volts, Value{}, "", ""},
		{"overdue voltage", Value{Coef: 528, Exp: -1, Trust: Known | Stale}, amperes, "", ""},
		{"dropped current", volts, Value{Coef: -105, Exp: -1, Trust: Stale}, "", ""},
		{"implausible voltage", Value{Coef: 528, Exp: -1, Trust: Known | Above}, amperes, "", ""},
		{"too large to write down", Value{Coef: 1 << 40, Trust: Known}, Value{Coef: 1 << 40, Trust: Known}, "", "0"},
	} {
		var s Status
		s.Put(Voltage, c.voltage)
		s.Put(Current, c.other)
		s.Put(CellMax, c.voltage)
		s.Put(CellMin, c.other)
		s.Derive()
		wantText(t, c.name, &s, map[Quantity]string{Power: c.power, CellSpread: c.spread})
		if c.power != "" && s.Value(Power) != (Value{Coef: -55440, Exp: -2, At: 5, Trust: Known}) {
			t.Errorf("%s: the power is %+v, want the older time", c.name, s.Value(Power))
		}
	}
}

// The nominal energy is nominal voltage times capacity: 16 cells of 3.2 V and 280 Ah
// have 14336 Wh (worked by hand).
func TestDeriveNominalEnergy(t *testing.T) {
	var s Status
	s.Put(NominalVoltage, Value{Coef: 512, Exp: -1, At: 2, Trust: Known})
	s.Derive()
	wantText(t, "no capacity", &s, map[Quantity]string{NominalEnergy: ""})
	s.Put(Nominal, Value{Coef: 280, At: 3, Trust: Known})
	s.Derive()
	wantText(t, "both known", &s, map[Quantity]string{NominalEnergy: "14336"})
}

// What the pack gave stands, even if it cannot be trusted or contradicts.
func TestDeriveNeverOverwrites(t *testing.T) {
	derived := []Quantity{CellMax, CellMaxAt, CellMin, CellMinAt, CellSpread, TempMax, TempMin, Power, NominalEnergy}
	for _, q := range derived {
		for _, trust := range []Trust{Known, Known | Stale, Stale, Known | Below, Known | Above} {
			s := cellStatus(3300, 3310)
			s.PutElement(Temps, 0, known(20))
			s.SetNumber(Voltage, Int(52), 1)
			s.SetNumber(Current, Int(10), 1)
			s.SetNumber(NominalVoltage, Int(51), 1)
			s.SetNumber(Nominal, Int(280), 1)
			given := Value{Coef: 42, At: 3, By: 1, Trust: trust}
			s.Put(q, given)
			s.Derive()
			if got := s.Value(q); got != given {
				t.Errorf("%v was given as %+v, and became %+v", q, given, got)
			}
		}
	}
}

func TestDeriveTwiceIsDeriveOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawStatus(t)
		s.Derive()
		once := string(s.AppendJSON(nil))
		s.Derive()
		if twice := string(s.AppendJSON(nil)); twice != once {
			t.Fatalf("first %s, then %s", once, twice)
		}
	})
}

func TestExtremesEqualBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s Status
		high, low := Decimal{}, Decimal{}
		n := rapid.IntRange(1, 20).Draw(t, "cells")
		for i := range n {
			d := drawDecimal(t, "cell")
			s.PutElement(Cells, i, Value{Coef: d.Coef, Exp: d.Exp, Trust: Known})
			if i == 0 || exact(d).Cmp(exact(high)) > 0 {
				high = d
			}
			if i == 0 || exact(d).Cmp(exact(low)) < 0 {
				low = d
			}
		}
		s.Derive()
		for _, c := range []struct {
			extreme, at Quantity
			want        Decimal
		}{{CellMax, CellMaxAt, high}, {CellMin, CellMinAt, low}} {
			place := s.Value(c.at).Coef
			if got := s.Value(c.extreme).Decimal(); got != c.want || s.Elements(Cells)[place-1].Decimal() != got {
				t.Fatalf("%v is %v at %d, want %v", c.extreme, got, place, c.want)
			}
		}
	})
}

// A protocol has a balancing bit for each cell it could have.
func TestBalancingOfCellsThatAreNotThere(t *testing.T) {
	for _, c := range []struct {
		name  string
		cells int
		flags []int64
		want  int
	}{
		{"as many as cells", 2, []int64{0, 1}, 2},
		{"more than cells", 2, []int64{0, 1, 0, 0}, 2},
		{"one that is on stays", 2, []int64{0, 0, 0, 1, 0}, 4},
		{"fewer than cells", 3, []int64{0}, 1},
		{"no cells known", 0, []int64{0, 0, 0}, 3},
		{"no flags", 2, nil, 0},
	} {
		s := cellStatus([]int64{3300, 3300, 3300}[:c.cells]...)
		for i, on := range c.flags {
			s.PutElement(Balancing, i, known(on))
		}
		s.Derive()
		if n := len(s.Elements(Balancing)); n != c.want {
			t.Errorf("%s: %d flags, want %d", c.name, n, c.want)
		}
	}
}
