package bank

import (
	"math/big"
	"testing"

	"packlink/decode/pack"

	"pgregory.net/rapid"
)

// drawn are the quantities that the property tests draw, with the range of
// their coefficients.
var drawn = []struct {
	q        pack.Quantity
	low, top int64
}{
	{pack.Voltage, 4000, 6000}, {pack.Current, -20000, 20000}, {pack.Power, -99999, 99999},
	{pack.SOC, 0, 1000}, {pack.SOH, 0, 1000}, {pack.Remaining, 0, 30000}, {pack.Full, 0, 30000}, {pack.Nominal, 1, 30000},
	{pack.RemainingEnergy, 0, 999999}, {pack.Temp, -400, 900},
	{pack.ChargeVoltageLimit, 4000, 6000}, {pack.DischargeVoltageLimit, 4000, 6000},
	{pack.ChargeCurrentLimit, 0, 3000}, {pack.DischargeCurrentLimit, 0, 3000},
	{pack.ChargeAllowed, 0, 1}, {pack.DischargeAllowed, 0, 1}, {pack.FullChargeWanted, 0, 1}, {pack.ChargeNowWanted, 0, 1},
}

// overdueAt marks the values that drawPack makes overdue.
const overdueAt = now - 60_000_000_000

// drawPack makes an expired and derived status. Each value is missing, good,
// overdue or suspect; a mute pack has overdue values only.
func drawPack(t *rapid.T, number int, mute bool) pack.Status {
	s := pack.Status{Time: now - rapid.Int64Range(0, 1e9).Draw(t, "age"), Now: now, Source: "left", Address: uint32(number), HasAddress: true, Fresh: !mute}
	for _, d := range drawn {
		flag := d.q.Row().Kind == pack.Flag
		if v := drawValue(t, d.low, d.top, flag, mute); v.Trust != 0 {
			s.Put(d.q, v)
		}
	}
	for i := range rapid.IntRange(0, 4).Draw(t, "cells") {
		s.PutElement(pack.Cells, i, drawValue(t, 2500, 3650, false, mute))
	}
	for i := range rapid.IntRange(0, 2).Draw(t, "sensors") {
		s.PutElement(pack.Temps, i, drawValue(t, -400, 900, false, mute))
	}
	s.Expire(func(v pack.Value) bool { return v.At == overdueAt })
	s.Derive()
	return s
}

func drawValue(t *rapid.T, low, top int64, flag, mute bool) pack.Value {
	v := pack.Value{Coef: rapid.Int64Range(low, top).Draw(t, "coef"), At: now, Trust: pack.Known}
	if !flag {
		v.Exp = int8(rapid.IntRange(-3, 0).Draw(t, "exp"))
	}
	switch state := rapid.IntRange(0, 9).Draw(t, "state"); {
	case state == 0:
		return pack.Value{}
	case mute || state == 1:
		v.At = overdueAt
	case state == 2 && !flag:
		v.Trust |= pack.Above
	}
	return v
}

// drawPacks makes one to five packs, some of them mute.
func drawPacks(t *rapid.T) []pack.Status {
	packs := make([]pack.Status, rapid.IntRange(1, 5).Draw(t, "packs"))
	for i := range packs {
		packs[i] = drawPack(t, i+1, rapid.IntRange(0, 3).Draw(t, "mute") == 0)
	}
	return packs
}

func TestOrderOfPacksDoesNotMatter(t *testing.T) {
	placed := map[pack.Quantity]bool{pack.CellMaxAt: true, pack.CellMinAt: true, pack.CellMaxPack: true, pack.CellMinPack: true}
	rapid.Check(t, func(t *rapid.T) {
		packs := drawPacks(t)
		one := Sum("b", pack.Decimal{}, now, packs)
		two := Sum("b", pack.Decimal{}, now, rapid.Permutation(packs).Draw(t, "order"))
		for q := range pack.Count {
			if a, b := shown(&one.Whole, q), shown(&two.Whole, q); a != b && !placed[q] {
				t.Fatalf("%v is %q, and %q in another order", q, a, b)
			}
		}
	})
}

func TestOnePackIsItself(t *testing.T) {
	rounded := map[pack.Quantity]int8{pack.Voltage: toMillivolt, pack.SOC: toTenth, pack.SOH: toTenth}
	ours := map[pack.Quantity]bool{pack.Packs: true, pack.PacksFresh: true, pack.CellMaxPack: true, pack.CellMinPack: true}
	rapid.Check(t, func(t *rapid.T) {
		s := drawPack(t, 1, false)
		w := &Sum("b", pack.Decimal{}, now, []pack.Status{s}).Whole
		if !s.Fresh {
			return
		}
		for q := range pack.Count {
			got := shown(w, q)
			if got == "" || ours[q] {
				continue
			}
			want := shown(&s, q)
			if exp, ok := rounded[q]; ok {
				d, _ := s.Usable(q)
				coef, _ := d.Rescale(exp)
				want = pack.Decimal{Coef: coef, Exp: exp}.String()
			}
			if want == "" && (q == pack.TempMax || q == pack.TempMin) {
				want = shown(&s, pack.Temp)
			}
			if limitForbidden(&s, q) {
				want = "0"
			}
			if got != want {
				t.Fatalf("%v is %q, want %q", q, got, want)
			}
		}
	})
}

// limitForbidden tells whether q is a limit of a direction the pack forbids.
func limitForbidden(s *pack.Status, q pack.Quantity) bool {
	for _, d := range directions {
		if q == d.limit {
			return shown(s, d.allowed) == "false"
		}
	}
	return false
}

// The sums are checked against rational arithmetic of math/big.
func TestTotalsAreExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		packs := drawPacks(t)
		b := Sum("b", pack.Decimal{}, now, packs)
		for _, q := range append(totals[:], pack.Nominal) {
			want, complete := rationalSum(packs, q)
			got := shown(&b.Whole, q)
			if !complete && got != "" || complete && rational(got).Cmp(want) != 0 {
				t.Fatalf("%v is %q, want %v (every part known: %v)", q, got, want, complete)
			}
		}
	})
}

func rational(text string) *big.Rat {
	r, _ := new(big.Rat).SetString(text)
	return r
}

func rationalSum(packs []pack.Status, q pack.Quantity) (sum *big.Rat, complete bool) {
	sum = new(big.Rat)
	parts := 0
	for i := range packs {
		if !packs[i].Fresh {
			continue
		}
		text := shown(&packs[i], q)
		if text == "" {
			return sum, false
		}
		sum.Add(sum, rational(text))
		parts++
	}
	return sum, parts > 0
}

func TestSharesSumToTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 16).Draw(t, "packs")
		packs := make([]pack.Status, n)
		for i := range packs {
			packs[i].Fresh = true
			packs[i].SetNumber(pack.Current, pack.Decimal{Coef: rapid.Int64Range(-1e6, 1e6).Draw(t, "mA"), Exp: -3}, now)
		}
		b := Sum("b", pack.Decimal{}, now, packs)
		total := new(big.Rat)
		for _, s := range b.Shares {
			if s.Percent.Trust == 0 {
				if shown(&b.Whole, pack.Current) != "0" {
					t.Fatal("a share is missing")
				}
				return
			}
			total.Add(total, rational(s.Percent.Decimal().String()))
		}
		off := total.Sub(total, big.NewRat(100, 1))
		if off.Abs(off).Cmp(big.NewRat(int64(n), 20)) > 0 {
			t.Fatalf("%d shares are off 100 %% by %v", n, off)
		}
	})
}

func TestNothingIsAllowedWithoutAFreshPack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		packs := make([]pack.Status, rapid.IntRange(0, 5).Draw(t, "packs"))
		for i := range packs {
			packs[i] = drawPack(t, i+1, true)
		}
		w := &Sum("b", pack.Decimal{}, now, packs).Whole
		for q := range pack.Count {
			got := shown(w, q)
			switch q {
			case pack.Packs:
			case pack.PacksFresh, pack.ChargeCurrentLimit, pack.DischargeCurrentLimit:
				if got != "0" {
					t.Fatalf("%v is %q, want 0", q, got)
				}
			case pack.ChargeAllowed, pack.DischargeAllowed:
				if got != "false" {
					t.Fatalf("%v is %q, want false", q, got)
				}
			default:
				if got != "" {
					t.Fatalf("%v is %q, and no pack is fresh", q, got)
				}
			}
		}
	})
}

// If the packs share the bank's limit equally, none is past its own.
func TestNoPackIsDrivenPastItsLimit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		packs := drawPacks(t)
		w := &Sum("b", pack.Decimal{}, now, packs).Whole
		for _, d := range directions {
			bankLimit := shown(w, d.limit)
			for i := range packs {
				if bankLimit == "" || !packs[i].Fresh {
					continue
				}
				part := rational(bankLimit)
				part.Quo(part, rational(shown(w, pack.PacksFresh)))
				if own := shown(&packs[i], d.limit); own != "" && part.Cmp(rational(own)) > 0 {
					t.Fatalf("%v: pack %d gets %v of its %s A", d.limit, i+1, part, own)
				}
				if shown(&packs[i], d.allowed) == "false" && (part.Sign() != 0 || shown(w, d.allowed) != "false") {
					t.Fatalf("%v: pack %d does not allow, and the bank does", d.limit, i+1)
				}
			}
		}
	})
}

func TestCellExtremesEqualBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		packs := make([]pack.Status, rapid.IntRange(1, 5).Draw(t, "packs"))
		var all []int64
		for i := range packs {
			packs[i].Fresh = true
			for c := range rapid.IntRange(1, 16).Draw(t, "cells") {
				v := pack.Value{Coef: rapid.Int64Range(2500, 3650).Draw(t, "mV"), Exp: -3, At: now, Trust: pack.Known}
				packs[i].PutElement(pack.Cells, c, v)
				all = append(all, v.Coef)
			}
			packs[i].Derive()
		}
		low, high := all[0], all[0]
		for _, mV := range all {
			low, high = min(low, mV), max(high, mV)
		}
		w := &Sum("b", pack.Decimal{}, now, packs).Whole
		for q, mV := range map[pack.Quantity]int64{pack.CellMin: low, pack.CellMax: high, pack.CellSpread: high - low} {
			if got, want := shown(w, q), (pack.Decimal{Coef: mV, Exp: -3}).String(); got != want {
				t.Fatalf("%v is %s, want %s", q, got, want)
			}
		}
		checkPlace(t, w, packs, high, pack.CellMaxPack, pack.CellMaxAt)
		checkPlace(t, w, packs, low, pack.CellMinPack, pack.CellMinAt)
	})
}

// checkPlace looks the extreme up where the bank says it is.
func checkPlace(t *rapid.T, w *pack.Status, packs []pack.Status, mV int64, in, at pack.Quantity) {
	number, _ := w.Usable(in)
	cell, _ := w.Usable(at)
	if got := packs[number.Coef-1].Elements(pack.Cells)[cell.Coef-1].Coef; got != mV {
		t.Fatalf("%v %d, %v %d holds %d mV, want %d", in, number.Coef, at, cell.Coef, got, mV)
	}
}
