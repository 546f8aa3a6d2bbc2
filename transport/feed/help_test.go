package feed

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"packlink/decode/bank"
	"packlink/decode/pack"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// noon is 2024-05-01T12:00:05Z, in nanoseconds since the Unix epoch.
const noon int64 = 1_714_564_805_000_000_000

const second int64 = 1_000_000_000

var overcurrent, _ = pack.ParseAlarm("discharge_overcurrent", "warning")

// leftPack is an invented pack of four cells that gives most quantities.
func leftPack(address uint32) pack.Status {
	at := noon - second/2
	s := pack.Status{Time: at, Now: noon, Source: "left", Address: address, HasAddress: true, Mapping: "invented", Fresh: true}
	for q, d := range map[pack.Quantity]pack.Decimal{
		pack.Voltage: {Coef: 5281, Exp: -2}, pack.Current: {Coef: -136, Exp: -1}, pack.SOC: {Coef: 878, Exp: -1}, pack.Full: pack.Int(100),
		pack.Cycles: pack.Int(12), pack.ChargeCurrentLimit: pack.Int(50), pack.TimeToEmpty: pack.Int(3600),
	} {
		s.SetNumber(q, d, at)
	}
	s.SetFlag(pack.ChargeAllowed, true, at)
	s.PutText(pack.Model, []byte(`A "100"\B`), pack.Value{At: at, Trust: pack.Known})
	for i, mV := range []int64{3301, 3289, 3314, 3300} {
		s.PutElement(pack.Cells, i, pack.Value{Coef: mV, Exp: -3, At: at, Trust: pack.Known})
	}
	s.PutElement(pack.Temps, 0, pack.Value{Coef: -25, Exp: -1, At: at, Trust: pack.Known})
	s.PutElement(pack.Balancing, 1, pack.Value{Coef: 1, At: at, Trust: pack.Known})
	s.Alarms.Set(overcurrent, true)
	s.Alarms.Set(pack.Alarm{}, false)
	s.Derive()
	return s
}

func silence(s *pack.Status) {
	s.Fresh = false
	s.Expire(func(pack.Value) bool { return true })
	s.AlarmsStale = s.Alarms.Known != 0
}

// boathouse is a bank of two packs; those numbered in silent are overdue.
func boathouse(silent ...int) *bank.Bank {
	packs := []pack.Status{leftPack(1), leftPack(2)}
	for _, number := range silent {
		silence(&packs[number-1])
	}
	return bank.Sum("boathouse", pack.Int(200), noon, packs)
}

func healthy() []SourceHealth {
	return []SourceHealth{{Source: "left", Fresh: true, Heard: noon - second/2}}
}

// shown is a handler with a healthy boathouse.
func shown() *HTTP {
	h := NewHTTP()
	h.Publish(boathouse(), healthy())
	return h
}

func ask(h http.Handler, method, path string) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(method, path, nil))
	return w
}

// expectProblem checks that the answer is a problem document (RFC 9457) with
// the status, whose detail says the words.
func expectProblem(t *testing.T, w *httptest.ResponseRecorder, status int, says ...string) {
	t.Helper()
	var p problem
	if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil {
		t.Fatalf("not a problem document: %v: %s", err, w.Body)
	}
	if w.Code != status || p.Status != status || p.Type != "about:blank" || p.Title != http.StatusText(status) {
		t.Errorf("got %d and %+v, want %d", w.Code, p, status)
	}
	if got := w.Header().Get("Content-Type"); got != "application/problem+json" {
		t.Errorf("content type %q", got)
	}
	for _, words := range says {
		if !strings.Contains(p.Detail, words) {
			t.Errorf("the detail %q does not say %q", p.Detail, words)
		}
	}
}
