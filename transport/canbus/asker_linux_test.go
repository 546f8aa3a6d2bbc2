package canbus

import (
	"strings"
	"testing"
	"time"

	"packlink/transport"
)

// TestQuestionsAreSentInTurn wants each question sent at its period, and none
// after the bus is closed.
func TestQuestionsAreSentInTurn(t *testing.T) {
	p := startPeer(t, obedient)
	questions := []Question{
		{transport.Frame{Medium: transport.CAN, ID: 0x605, Data: []byte{0x40, 0x60, 0x60, 0, 0, 0, 0, 0}}, 100 * time.Millisecond},
		{transport.Frame{Medium: transport.CAN, ID: 0x605, Data: []byte{0x40, 0x70, 0x60, 0, 0, 0, 0, 0}}, time.Hour},
	}
	bus, err := TransmitQuestions(p.endpoint(""), questions, nil)
	if err != nil {
		t.Fatal(err)
	}
	const often, rarely = "t60584060600000000000", "t60584070600000000000"
	waitUntil(t, func() bool { return strings.Count(p.commands(), often) >= 3 })
	closeAll(t, bus)
	waitUntil(t, func() bool { return strings.HasSuffix(p.commands(), " C") })
	if n := strings.Count(p.commands(), rarely); n != 1 {
		t.Errorf("the question of once an hour was sent %d times: %s", n, p.commands())
	}
	sent := p.commands()
	time.Sleep(300 * time.Millisecond)
	if p.commands() != sent {
		t.Errorf("something was sent after the end: %s", strings.TrimPrefix(p.commands(), sent))
	}
}

// TestUnsentQuestionIsToldOnce wants one event for a run of failures.
func TestUnsentQuestionIsToldOnce(t *testing.T) {
	told := 0
	a := &asker{notify: func(e Event) {
		if e.Kind != Unasked || !strings.Contains(e.String(), "no buffer") {
			t.Errorf("told %v", e)
		}
		told++
	}}
	full := &Error{Why: "no buffer"}
	for _, err := range []error{nil, full, full, nil, full, errClosed} {
		a.note(err)
	}
	if told != 2 {
		t.Errorf("told %d times of two runs of failures", told)
	}
}
