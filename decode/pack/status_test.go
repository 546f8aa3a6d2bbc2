package pack

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func always(Value) bool { return true }

// known is a whole number that is known and trusted.
func known(n int64) Value { return Value{Coef: n, At: 1, Trust: Known} }

func TestElementBeyondTheListIsIgnored(t *testing.T) {
	for _, q := range []Quantity{Cells, Temps, Balancing} {
		var s Status
		most := q.Row().Max
		for _, i := range []int{-1, most, most + 1, 1 << 40} {
			s.PutElement(q, i, known(1))
		}
		if s.Has(q) || len(s.Elements(q)) != 0 {
			t.Errorf("%v: an element beyond %d was taken: %v", q, most, s.Elements(q))
		}
		s.PutElement(q, most-1, known(1))
		if n := len(s.Elements(q)); n != most || !s.Has(q) {
			t.Errorf("%v: with its last element it has %d elements, want %d", q, n, most)
		}
	}
}

func TestElements(t *testing.T) {
	var s Status
	s.PutElement(Cells, 2, known(3))
	s.PutElement(Cells, 0, known(1))
	s.PutElement(Cells, 4, Value{})
	s.PutElement(Cells, 5, Value{Coef: 9})
	want := []Value{known(1), {}, known(3)}
	if got := s.Elements(Cells); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v: unknown elements at the end are no elements", got, want)
	}
	s.PutElement(Cells, 3, Value{Trust: Stale})
	if n := len(s.Elements(Cells)); n != 4 {
		t.Errorf("an overdue element at the end was dropped: %d elements", n)
	}
	s.Truncate(Cells, 9)
	s.Truncate(Cells, 1)
	if got := s.Elements(Cells); !slices.Equal(got, want[:1]) {
		t.Errorf("cut to 1: %v", got)
	}
	s.PutElement(Cells, 2, known(7))
	if got := s.Elements(Cells); !slices.Equal(got, []Value{known(1), {}, known(7)}) {
		t.Errorf("what was cut came back: %v", got)
	}
	s.Clear(Cells)
	if s.Has(Cells) || len(s.Elements(Cells)) != 0 {
		t.Errorf("cleared: %v", s.Elements(Cells))
	}
}

// A list is a row of values that is nil where nothing was written.
func TestListIsARow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s Status
		row := make([]Value, MaxTemps)
		for range rapid.IntRange(0, 20).Draw(t, "steps") {
			i := rapid.IntRange(-2, MaxTemps+2).Draw(t, "i")
			if rapid.IntRange(0, 3).Draw(t, "cut") == 0 {
				s.Truncate(Temps, max(i, 0))
				clear(row[min(max(i, 0), len(row)):])
				continue
			}
			v := drawValue(t, false)
			if v.Trust == 0 {
				v = Value{}
			}
			s.PutElement(Temps, i, v)
			if i >= 0 && i < len(row) {
				row[i] = v
			}
		}
		want := row
		for len(want) > 0 && want[len(want)-1].Trust == 0 {
			want = want[:len(want)-1]
		}
		if got := s.Elements(Temps); !slices.Equal(got, want) {
			t.Fatalf("got %v, want %v", got, want)
		}
	})
}

func TestListOfWhatIsNoList(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("the elements of a number were given")
		}
	}()
	new(Status).Elements(Voltage)
}

func TestHasStaleSuspect(t *testing.T) {
	for _, c := range []struct {
		trust               Trust
		has, stale, suspect bool
	}{
		{0, false, false, false}, {Known, true, false, false}, {Stale, false, true, false}, {Known | Stale, true, true, false},
		{Known | Below, true, false, true}, {Known | Above, true, false, true}, {Known | Stale | Above, true, true, true},
	} {
		for _, q := range []Quantity{Voltage, ChargeAllowed, Serial, Cells, Balancing} {
			var s Status
			v := Value{Trust: c.trust}
			if q.Row().Kind.List() {
				s.PutElement(q, 0, Value{})
				s.PutElement(q, 1, v)
			} else {
				s.Put(q, v)
			}
			if s.Has(q) != c.has || s.Stale(q) != c.stale || s.Suspect() != c.suspect || v.Suspect() != c.suspect {
				t.Errorf("%v of trust %04b: has %v, stale %v, suspect %v", q, c.trust, s.Has(q), s.Stale(q), s.Suspect())
			}
		}
	}
}

// DESIGN.md, section 7 "Fail-safe": stale measurements are withheld from every
// output that cannot mark them; permissions go to 0 A and "not allowed".
func TestUsable(t *testing.T) {
	for _, c := range []struct {
		q       Quantity
		trust   Trust
		expired bool
		want    string // "" for not usable
	}{
		{Voltage, 0, false, ""}, {Voltage, Known, false, "7"}, {Voltage, Known | Below, false, ""}, {Voltage, Known | Above, false, ""},
		{Voltage, Known, true, ""}, {Voltage, Stale, false, ""}, {Voltage, 0, true, ""},
		{ChargeCurrentLimit, Known, false, "7"}, {ChargeCurrentLimit, Known, true, "0"}, {ChargeCurrentLimit, Known | Above, false, ""},
		{ChargeCurrentLimit, Known | Above, true, "0"}, {ChargeCurrentLimit, 0, true, ""},
		{DischargeAllowed, Known, false, "7"}, {DischargeAllowed, Known, true, "0"},
		{ChargeVoltageLimit, Known, false, "7"}, {ChargeVoltageLimit, Known, true, ""},
		{FullChargeWanted, Known, false, "7"}, {FullChargeWanted, Known, true, ""},
	} {
		var s Status
		s.Put(c.q, Value{Coef: 7, At: 1, Trust: c.trust})
		if c.expired {
			s.Expire(always)
		}
		got := ""
		if d, ok := s.Usable(c.q); ok {
			got = d.String()
		}
		if got != c.want {
			t.Errorf("%v of trust %04b, expired %v: usable is %q, want %q", c.q, c.trust, c.expired, got, c.want)
		}
	}
}

func TestExpireFollowsTheRule(t *testing.T) {
	for q := range Count {
		if q.Row().Kind.List() {
			continue
		}
		var s Status
		s.Put(q, Value{Coef: 5, Exp: -1, At: 9, By: 3, Trust: Known | Above})
		s.Expire(func(v Value) bool { return v.At == 9 && v.By == 3 })
		want := map[Overdue]Value{
			Marked:   {Coef: 5, Exp: -1, At: 9, By: 3, Trust: Known | Above | Stale},
			Forbids:  {At: 9, By: 3, Trust: Known | Stale},
			Withheld: {Coef: 5, Exp: -1, At: 9, By: 3, Trust: Stale},
		}[q.Row().Overdue]
		if got := s.Value(q); got != want {
			t.Errorf("%v is %+v, want %+v", q, got, want)
		}
		if s.Has(q) == (q.Row().Overdue == Withheld) || !s.Stale(q) {
			t.Errorf("%v: has %v, stale %v", q, s.Has(q), s.Stale(q))
		}
	}
}

func TestExpireLeavesTheRest(t *testing.T) {
	s := fullStatus()
	var before Status
	s.CopyTo(&before)
	s.PutElement(Cells, 1, Value{Coef: 1, At: noon - 1, Trust: Known})
	s.Put(Voltage, Value{Coef: 1, At: noon - 1, Trust: Known})
	s.Expire(func(v Value) bool { return v.At < noon })
	for q := range Count {
		if touched := q == Cells || q == Voltage; s.Stale(q) != touched {
			t.Errorf("%v: stale is %v", q, s.Stale(q))
		} else if !touched && s.Value(q) != before.Value(q) {
			t.Errorf("%v is %+v", q, s.Value(q))
		}
	}
	if s.Elements(Cells)[0].Trust != Known || s.Elements(Cells)[1].Trust != Known|Stale || s.Elements(Cells)[2].Trust != 0 {
		t.Errorf("the cells are %+v", s.Elements(Cells)[:3])
	}
	var nothing Status
	nothing.Expire(always)
	if got := string(nothing.AppendJSON(nil)); got != `{"source":"","mapping":""}` {
		t.Errorf("what was never seen expired: %s", got)
	}
}

// A pack that is not heard says who it was, and what it no longer says.
func TestSilence(t *testing.T) {
	s := fullStatus()
	s.Expire(always)
	s.AlarmsStale = true
	s.Silence()
	for q := range Count {
		if q.Row().Group == bankGroup {
			continue
		}
		stays := q.Row().Kind == Word || q.Row().Overdue == Forbids
		if s.Has(q) != stays || !s.Stale(q) {
			t.Errorf("%v: has %v, want %v; stale %v", q, s.Has(q), stays, s.Stale(q))
		}
	}
	if s.Alarms != (AlarmSet{}) || !s.AlarmsStale {
		t.Errorf("the alarms are %+v, stale %v", s.Alarms, s.AlarmsStale)
	}
	s.Derive()
	for _, q := range []Quantity{Power, CellMax, CellMin, CellSpread, TempMax, TempMin} {
		if s.Has(q) {
			t.Errorf("%v was derived from what is not heard", q)
		}
	}
}

// Silence drops only what is overdue: a value of a message that is never
// repeated stays.
func TestSilenceLeavesWhatIsNotOverdue(t *testing.T) {
	var s Status
	s.SetNumber(Nominal, Int(100), 1)
	s.PutElement(Temps, 0, known(20))
	s.Silence()
	if !s.Has(Nominal) || !s.Has(Temps) {
		t.Errorf("the record is %s", s.AppendJSON(nil))
	}
}

func TestSetAndClear(t *testing.T) {
	var s Status
	s.SetNumber(Voltage, Decimal{528, -1}, 4)
	s.SetFlag(ChargeAllowed, true, 5)
	s.SetFlag(DischargeAllowed, false, 6)
	*s.Place(SOC) = known(80)
	for q, want := range map[Quantity]Value{
		Voltage: {Coef: 528, Exp: -1, At: 4, Trust: Known}, ChargeAllowed: {Coef: 1, At: 5, Trust: Known},
		DischargeAllowed: {At: 6, Trust: Known}, SOC: known(80), SOH: {},
	} {
		if got := s.Value(q); got != want {
			t.Errorf("%v is %+v, want %+v", q, got, want)
		}
		s.Clear(q)
		if s.Value(q) != (Value{}) || s.Has(q) {
			t.Errorf("%v is cleared, and is %+v", q, s.Value(q))
		}
	}
}

func TestCopyIsIndependent(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawStatus(t)
		record := string(s.AppendJSON(nil))
		to := drawStatus(t)
		s.CopyTo(to)
		if got := string(to.AppendJSON(nil)); got != record {
			t.Fatalf("the copy is %s, want %s", got, record)
		}
		for q := range Count {
			to.Clear(q)
			if q.Row().Kind.List() {
				to.PutElement(q, 0, known(-77))
				to.PutElement(q, 1, known(-78))
			}
		}
		to.PutText(Serial, []byte("overwritten"), known(0))
		if got := string(s.AppendJSON(nil)); got != record {
			t.Fatalf("writing the copy made the first %s, was %s", got, record)
		}
		s.CopyTo(s)
		if got := string(s.AppendJSON(nil)); got != record {
			t.Fatalf("copied to itself it is %s, was %s", got, record)
		}
	})
}

func TestCopyReusesRoom(t *testing.T) {
	s, to := fullStatus(), fullStatus()
	if n := testing.AllocsPerRun(10, func() { s.CopyTo(to) }); n != 0 {
		t.Errorf("%v allocations for a copy, want 0", n)
	}
	if diff := cmp.Diff(string(s.AppendJSON(nil)), string(to.AppendJSON(nil))); diff != "" {
		t.Error(diff)
	}
}
