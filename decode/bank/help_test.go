package bank

import (
	"testing"

	"packlink/decode/pack"
)

// now is the instant most tests speak of, in nanoseconds since the Unix epoch.
const now int64 = 1_700_000_000_000_000_000

// facts are a pack's quantities as text: a decimal, true or false, or words.
type facts map[pack.Quantity]string

// heard is the derived status of a pack that gave the facts one second ago.
func heard(t testing.TB, source string, address uint32, f facts) pack.Status {
	t.Helper()
	at := now - 1_000_000_000
	s := pack.Status{Time: at, Now: now, Source: source, Address: address, HasAddress: address != 0, Mapping: "invented", Fresh: true}
	for q, text := range f {
		switch q.Row().Kind {
		case pack.Flag:
			s.SetFlag(q, text == "true", at)
		case pack.Word:
			s.PutText(q, []byte(text), pack.Value{At: at, Trust: pack.Known})
		case pack.Number:
			s.SetNumber(q, decimal(t, text), at)
		default:
			t.Fatalf("%v is not for facts", q)
		}
	}
	s.Derive()
	return s
}

func decimal(t testing.TB, text string) pack.Decimal {
	t.Helper()
	d, err := pack.ParseDecimal(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// silence makes every value of a pack overdue.
func silence(s *pack.Status) {
	s.Fresh = false
	s.Expire(func(pack.Value) bool { return true })
	s.AlarmsStale = s.Alarms.Known != 0
}

// cells writes cell voltages in V, from cell 1; "" is a cell that is not known.
func cells(t testing.TB, s *pack.Status, volts ...string) {
	t.Helper()
	for i, text := range volts {
		if text != "" {
			d := decimal(t, text)
			s.PutElement(pack.Cells, i, pack.Value{Coef: d.Coef, Exp: d.Exp, At: s.Time, Trust: pack.Known})
		}
	}
	s.Derive()
}

// shown is a usable quantity as text: "" if there is none.
func shown(s *pack.Status, q pack.Quantity) string {
	d, ok := s.Usable(q)
	switch {
	case !ok:
		return ""
	case q.Row().Kind == pack.Word:
		return s.Text(q)
	case q.Row().Kind == pack.Flag:
		return map[bool]string{false: "false", true: "true"}[d.Coef != 0]
	}
	return d.String()
}

// expect compares usable quantities; "" wants none.
func expect(t *testing.T, s *pack.Status, want facts) {
	t.Helper()
	for q, text := range want {
		if got := shown(s, q); got != text {
			t.Errorf("%v is %q, want %q", q, got, text)
		}
	}
}
