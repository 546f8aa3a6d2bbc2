//go:build linux

package serialbus

import (
	"bytes"
	"context"
	"errors"
	"io"
	"path/filepath"
	"testing"
	"time"

	"packlink/transport"
)

// answerAt answers at a port until the test ends, as echoing does.
func answerAt(t testing.TB, at string, report func(Event), units ...byte) *Answerer {
	t.Helper()
	return answerWith(t, at, echoing, report, units...)
}

// answerWith answers at a port until the test ends.
func answerWith(t testing.TB, at string, answer func(unit byte, request, response []byte) []byte, report func(Event), units ...byte) *Answerer {
	t.Helper()
	a, err := NewAnswerer(endpoint(t, at), units, answer, report)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Open(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { defer close(ended); a.TransmitAnswers(ctx) }()
	t.Cleanup(func() {
		cancel()
		select {
		case <-ended:
		case <-time.After(patience):
			t.Error("the answerer did not end")
		}
	})
	return a
}

// expectAnswer asks and reads the answer at the far end of the line.
func (f *farEnd) expectAnswer(t testing.TB, request []byte) {
	t.Helper()
	if _, err := f.Write(request); err != nil {
		t.Fatal(err)
	}
	want := answerTo(request)
	got := make([]byte, len(want))
	f.SetReadDeadline(time.Now().Add(patience))
	if n, err := io.ReadFull(f, got); err != nil || !bytes.Equal(got, want) {
		t.Fatalf("% X got % X, %v; want % X", request, got[:n], err, want)
	}
}

// TestAnsweringWithoutPort says at once what is wrong with a port, and what would help.
func TestAnsweringWithoutPort(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "missing")
	a, err := NewAnswerer(endpoint(t, "modbus-rtu:"+missing), []byte{1}, echoing, nil)
	if err != nil {
		t.Fatal(err)
	}
	r, err := NewReplier(endpoint(t, "serial:"+missing), func([]byte) []byte { return nil }, nil)
	if err != nil {
		t.Fatal(err)
	}
	for scheme, open := range map[string]func() error{"modbus-rtu:": a.Open, "serial:": r.Open} {
		var fault *Error
		if err := open(); !errors.As(err, &fault) || fault.Kind != KindMissing || fault.Endpoint != scheme+missing || fault.Try != "packlink adapters" {
			t.Errorf("%s: got %v, want that the port is missing", scheme, err)
		}
	}
}

// TestAnsweringClosed gives a port back that was opened and is not answered on.
func TestAnsweringClosed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "port")
	plug(t, path)
	a, err := NewAnswerer(endpoint(t, "modbus-rtu:"+path), []byte{1}, echoing, nil)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := a.Open(); err != nil {
			t.Fatal(err)
		}
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	}
	ended := make(chan struct{})
	go func() { defer close(ended); a.TransmitAnswers(t.Context()) }()
	select {
	case <-ended:
	case <-time.After(patience):
		t.Error("it answers on a line that is closed")
	}
}

// TestAnswererOnPort has real bytes, and a port that is unplugged and comes back.
func TestAnswererOnPort(t *testing.T) {
	path := filepath.Join(t.TempDir(), "port")
	far, f := plug(t, path), newFollower()
	answerAt(t, "modbus-rtu:"+path, f.report, 1)
	for range 10 {
		far.expectAnswer(t, ours)
	}
	far.unplug(path)
	eventually(t, "the loss is told", func() bool { return f.saw(EventGone) == 1 })
	far = plug(t, path)
	eventually(t, "the return is told", func() bool { return f.saw(EventBack) == 1 })
	far.expectAnswer(t, ours)
	if f.saw(EventGone) != 1 {
		t.Errorf("told: %v", f.events)
	}
}

// TestAnswererAndPoller are the two ends of one line, also behind an adapter that holds
// bytes back.
func TestAnswererAndPoller(t *testing.T) {
	for name, tear := range map[string]func(io.Writer, []byte){"straight": straight, "torn": torn} {
		t.Run(name, func(t *testing.T) {
			theirs, ours := plug(t, ""), plug(t, "")
			cable(t, theirs, ours, tear)
			a := answerAt(t, "modbus-rtu:"+theirs.port, nil, 17)
			f, p := poll(t, "serial:"+ours.port, Plan{Units: []byte{17}, Timeout: time.Second, Blocks: []Block{{Function: 3, Count: 60, Every: 20 * time.Millisecond}}})
			for answers, request := 0, []byte(nil); answers < 10; {
				frame := f.next(t)
				switch {
				case frame.Direction == transport.Sent:
					request = frame.data
				case !bytes.Equal(frame.data, answerTo(request)):
					t.Fatalf("% X was answered % X", request, frame.data)
				default:
					answers++
				}
			}
			if u := p.Counts().Units[0]; u.Outcomes[Answered] < 10 || a.Counts().Noise != 0 {
				t.Errorf("got %+v, %+v", u, a.Counts())
			}
		})
	}
}
