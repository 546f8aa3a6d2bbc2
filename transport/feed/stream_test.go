package feed

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// publish shows a boathouse with a name of its own.
func publish(h *HTTP, name string) {
	b := boathouse()
	b.Name = name
	h.Publish(b, healthy())
}

func texts(all []arrival) []string {
	var lines []string
	for _, a := range all {
		lines = append(lines, a.line)
	}
	return lines
}

func TestStreamBeginsWithTheCurrentState(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := shown()
		c := openStream(t, serve(t, h).dial())
		synctest.Wait()
		b := boathouse()
		want := []string{
			"event: bank", "data: " + string(b.AppendJSON(nil)),
			"event: packs", "data: [" + string(b.Packs[0].AppendJSON(nil)) + "," + string(b.Packs[1].AppendJSON(nil)) + "]",
		}
		if got := texts(c.lines("")); !slices.Equal(got, want) {
			t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
		if c.status.StatusCode != http.StatusOK || c.status.Header.Get("Content-Type") != "text/event-stream" {
			t.Errorf("got %d, %v", c.status.StatusCode, c.status.Header)
		}
	})
}

func TestStreamWaitsForTheFirstState(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := NewHTTP()
		c := openStream(t, serve(t, h).dial())
		time.Sleep(time.Second)
		if got := c.lines(""); len(got) != 0 {
			t.Errorf("before the first state: got %v", got)
		}
		publish(h, "first")
		synctest.Wait()
		if got := c.lines(`data: {"time":"2024-05-01T12:00:04.5Z","bank":"first"`); len(got) != 1 || got[0].after != time.Second {
			t.Errorf("got %v, want one state after 1 s", c.lines(""))
		}
	})
}

// 400 states in two seconds: a client gets one each 250 ms, and the last one.
func TestStreamIsPacedToTheNewestState(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := NewHTTP()
		c := openStream(t, serve(t, h).dial())
		for i := range 400 {
			publish(h, fmt.Sprint("state ", i))
			time.Sleep(5 * time.Millisecond)
		}
		time.Sleep(time.Second)
		states := c.lines("data: {")
		if len(states) != 9 {
			t.Errorf("got %d states, want 9", len(states))
		}
		for i, a := range states[1:] {
			if gap := a.after - states[i].after; gap < streamInterval {
				t.Errorf("state %d came %v after the one before", i+1, gap)
			}
		}
		if last := states[len(states)-1].line; !strings.Contains(last, `"bank":"state 399"`) {
			t.Errorf("the last state is %.90s", last)
		}
	})
}

// A stream that has nothing to say is kept alive for as long as it is wanted,
// past every time-out of the server, and an old state is not sent again.
func TestStreamIsKeptAlive(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := openStream(t, serve(t, shown()).dial())
		time.Sleep(10*time.Minute + time.Second)
		if got := len(c.lines("event: ")); got != 2 {
			t.Errorf("%d events, want 2", got)
		}
		comments := c.lines(":")
		if len(comments) != 40 {
			t.Fatalf("%d comments in 10 min, want 40", len(comments))
		}
		for i, a := range comments {
			if want := time.Duration(i+1)*streamKeepAlive + streamInterval; a.after != want {
				t.Errorf("comment %d after %v, want %v", i+1, a.after, want)
			}
		}
	})
}

func TestOldStateIsNotStreamed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := shown()
		time.Sleep(Overdue + time.Second)
		c := openStream(t, serve(t, h).dial())
		time.Sleep(time.Second)
		if got := c.lines(""); len(got) != 0 {
			t.Errorf("got %v", got)
		}
	})
}

// One client takes nothing. The others get every state at its time, Publish
// waits for nobody, and the slow client is let go.
func TestSlowClientHoldsUpNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := shown()
		w := serve(t, h)
		slow := w.dial()
		defer slow.Close()
		if _, err := slow.Write([]byte("GET /v1/stream HTTP/1.1\r\nHost: test\r\n\r\n")); err != nil {
			t.Fatal(err)
		}
		quick := openStream(t, w.dial())
		for i := range 20 {
			start := time.Now()
			publish(h, fmt.Sprint("state ", i))
			if took := time.Since(start); took != 0 {
				t.Errorf("Publish took %v", took)
			}
			time.Sleep(time.Second)
			if got := quick.lines("data: {"); !strings.Contains(got[len(got)-1].line, fmt.Sprintf(`"bank":"state %d"`, i)) {
				t.Errorf("the quick client has not got state %d", i)
			}
		}
		if open := h.streams.Load(); open != 1 {
			t.Errorf("%d streams are open after 20 s, want the quick one only", open)
		}
	})
}

func TestStreamsAreLimited(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		w := serve(t, shown())
		var clients []*client
		for range MaxStreams {
			clients = append(clients, openStream(t, w.dial()))
		}
		refused := openStream(t, w.dial())
		if refused.status.StatusCode != http.StatusServiceUnavailable || refused.status.Header.Get("Retry-After") != "5" ||
			refused.status.Header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("stream %d: got %d, %v", MaxStreams+1, refused.status.StatusCode, refused.status.Header)
		}
		_ = clients[0].Close()
		synctest.Wait()
		if again := openStream(t, w.dial()); again.status.StatusCode != http.StatusOK {
			t.Errorf("after one has gone: got %d", again.status.StatusCode)
		}
	})
}

// A writer without deadlines, such as a recorder or a wrapper, will do too.
func TestStreamWithoutDeadlines(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	stop()
	w := httptest.NewRecorder()
	shown().ServeHTTP(w, httptest.NewRequestWithContext(ctx, "GET", "/v1/stream", nil))
	if got := w.Body.String(); !w.Flushed || strings.Count(got, "event: ") != 2 {
		t.Errorf("got %q, want the current state", got)
	}
}
