package serialbus

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"testing"
	"time"
)

// scriptedLink gives what it is told to, step by step, and notes what is written.
type scriptedLink struct {
	steps   []any // []byte that is read, "silence", or an error
	written [][]byte
	until   []time.Time
	ended   func()
}

func (l *scriptedLink) read(buffer []byte, until time.Time) (int, error) {
	l.until = append(l.until, until)
	if len(l.steps) == 0 {
		l.ended()
		return 0, errUnplugged
	}
	step := l.steps[0]
	l.steps = l.steps[1:]
	switch s := step.(type) {
	case []byte:
		return copy(buffer, s), nil
	case error:
		return 0, s
	}
	return 0, nil
}

func (l *scriptedLink) write(data []byte, _ time.Duration) error {
	l.written = append(l.written, bytes.Clone(data))
	return nil
}

func (l *scriptedLink) close() error { return nil }

// TestReplier answers once the line is silent, the newest question only, none that
// something came behind, and forgets everything when the line was lost.
func TestReplier(t *testing.T) {
	question, other := []byte("ask1"), []byte("ask2")
	for name, c := range map[string]struct {
		steps []any
		want  string
	}{
		"a question":                  {[]any{question, "silence"}, "<ask1>"},
		"two questions":               {[]any{question, other, "silence"}, "<ask2>"},
		"a question and a click":      {[]any{question, []byte{0}, "silence"}, "<ask1>"},
		"a question overtaken":        {[]any{question, []byte("talk"), "silence"}, ""},
		"silence":                     {[]any{"silence", "silence"}, ""},
		"noise":                       {[]any{[]byte("noise"), "silence"}, ""},
		"a question before the break": {[]any{question, errors.New("pulled"), "silence"}, ""},
		"a question behind the break": {[]any{errors.New("pulled"), question, "silence"}, "<ask1>"},
	} {
		ctx, cancel := context.WithCancel(t.Context())
		l, gaps := &scriptedLink{steps: c.steps, ended: cancel}, 0
		r := &Replier{station: station{place: &place{baud: 115200, charBits: 10}}, reply: func(heard []byte) []byte {
			if heard == nil {
				gaps++
				return nil
			}
			if bytes.HasPrefix(heard, []byte("ask")) {
				return []byte("<" + string(heard) + ">")
			}
			return nil
		}}
		if err := r.open(func(context.Context) (link, error) { return l, nil }); err != nil {
			t.Fatal(err)
		}
		r.TransmitReplies(ctx)
		if got := string(bytes.Join(l.written, nil)); got != c.want {
			t.Errorf("%s: answered %q, want %q", name, got, c.want)
		}
		broken := slices.ContainsFunc(c.steps, func(step any) bool { _, is := step.(error); return is })
		if broken != (gaps > 0) {
			t.Errorf("%s: %d gaps are told of", name, gaps)
		}
		if !l.until[0].IsZero() {
			t.Errorf("%s: waits until %v for the first byte", name, l.until[0])
		}
	}
}

// TestAnsweringUnopened: who was not opened answers nothing, and can be closed.
func TestAnsweringUnopened(t *testing.T) {
	a, err := NewAnswerer(endpoint(t, "modbus-rtu:/dev/bench"), []byte{1}, echoing, nil)
	if err != nil {
		t.Fatal(err)
	}
	r, err := NewReplier(endpoint(t, "serial:/dev/bench"), func([]byte) []byte { return nil }, nil)
	if err != nil {
		t.Fatal(err)
	}
	a.TransmitAnswers(t.Context())
	r.TransmitReplies(t.Context())
	for name, closing := range map[string]func() error{"answerer": a.Close, "replier": r.Close} {
		if err := closing(); err != nil {
			t.Errorf("closing the %s gives %v", name, err)
		}
	}
}
