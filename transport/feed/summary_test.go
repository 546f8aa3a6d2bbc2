package feed

import (
	"errors"
	"strings"
	"testing"
	"time"

	"packlink/decode/bank"
	"packlink/decode/pack"
)

func TestSummaryLine(t *testing.T) {
	bare := bank.Sum("boathouse", pack.Decimal{}, noon, []pack.Status{{}})
	odd := boathouse()
	odd.Name = "a\nb\x1b[2J"
	overdue := boathouse()
	overdue.Whole.AlarmsStale = true
	rounded := boathouse()
	rounded.Whole.SetNumber(pack.Voltage, pack.Int(53), noon)
	rounded.Whole.SetNumber(pack.Current, pack.Decimal{Coef: -4, Exp: -2}, noon)
	forbidden := boathouse()
	forbidden.Whole.SetFlag(pack.ChargeAllowed, false, noon)
	forbidden.Whole.SetFlag(pack.DischargeAllowed, false, noon)
	for _, c := range []struct {
		b    *bank.Bank
		want string
	}{
		{boathouse(), "12:00:05Z  bank boathouse  52.81 V  -27.2 A  87.8 %  cells 3.289 to 3.314 V  2 of 2 packs  discharge_overcurrent warning"},
		{boathouse(2), "12:00:05Z  bank boathouse  52.81 V  -13.6 A  87.8 %  cells 3.289 to 3.314 V  1 of 2 packs, silent: left/2  discharge_overcurrent warning  communication_lost warning"},
		{boathouse(1, 2), "12:00:05Z  bank boathouse  0 of 2 packs  not heard for 0 s"},
		{bare, "12:00:05Z  bank boathouse  0 of 1 packs  never heard"},
		{odd, "12:00:05Z  bank a b [2J  52.81 V  -27.2 A  87.8 %  cells 3.289 to 3.314 V  2 of 2 packs  discharge_overcurrent warning"},
		{overdue, "12:00:05Z  bank boathouse  52.81 V  -27.2 A  87.8 %  cells 3.289 to 3.314 V  2 of 2 packs  discharge_overcurrent warning  alarms overdue"},
		{rounded, "12:00:05Z  bank boathouse  53.00 V  0.0 A  87.8 %  cells 3.289 to 3.314 V  2 of 2 packs  discharge_overcurrent warning"},
		{forbidden, "12:00:05Z  bank boathouse  52.81 V  -27.2 A  87.8 %  cells 3.289 to 3.314 V  2 of 2 packs  charge not allowed  discharge not allowed  discharge_overcurrent warning"},
	} {
		if got := string(AppendSummary(nil, c.b)); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}

// at is the boathouse at a later instant.
func at(later int64) *bank.Bank {
	b := boathouse()
	b.Whole.Now = noon + later
	return b
}

func TestSummaryWritesOncePerInterval(t *testing.T) {
	var out strings.Builder
	s := NewSummary(&out, 5*time.Second)
	for _, later := range []int64{0, second, 4 * second, 5 * second, 9 * second, 21 * second} {
		if err := s.Bank(at(later)); err != nil {
			t.Fatal(err)
		}
	}
	var times []string
	for line := range strings.Lines(out.String()) {
		times = append(times, line[:8])
	}
	if got, want := strings.Join(times, " "), "12:00:05 12:00:10 12:00:26"; got != want {
		t.Errorf("lines at %s, want %s", got, want)
	}
}

// failing fails once.
type failing struct {
	strings.Builder
	failed bool
}

func (f *failing) Write(p []byte) (int, error) {
	if !f.failed {
		f.failed = true
		return 0, errors.New("no space left")
	}
	return f.Builder.Write(p)
}

func TestSummaryTriesAgainAfterAnError(t *testing.T) {
	var out failing
	s := NewSummary(&out, time.Minute)
	if err := s.Bank(at(0)); err == nil {
		t.Fatal("the error is lost")
	}
	if err := s.Bank(at(second)); err != nil || out.Len() == 0 {
		t.Errorf("got %v and %q, want a line", err, out.String())
	}
}
