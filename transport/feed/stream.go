package feed

import (
	"context"
	"errors"
	"net/http"
	"time"
)

// MaxStreams is the most streams that are open at once. One more is refused
// with 503 and Retry-After.
const MaxStreams = 64

const (
	streamInterval  = 250 * time.Millisecond // the shortest time between two states on one stream
	streamKeepAlive = 15 * time.Second       // a comment is sent after this long without a state
	streamPatience  = 10 * time.Second       // a client that takes longer to accept a state is let go
)

// serveStream sends server-sent events (WHATWG HTML, section 9.2 "Server-sent
// events"): the current state at once, then each newer one. A client that
// cannot keep up gets the newest and misses those between.
func (h *HTTP) serveStream(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodHead {
		w.Header().Set("Content-Type", "text/event-stream")
		return
	}
	defer h.streams.Add(-1)
	if h.streams.Add(1) > MaxStreams {
		w.Header().Set("Retry-After", "5")
		problem{Status: http.StatusServiceUnavailable, Detail: "too many streams are open: close one, or read /v1/bank instead"}.write(w, r)
		return
	}
	w.Header().Set("Content-Type", "text/event-stream")
	s := stream{w, http.NewResponseController(w)}
	if s.open() == nil {
		s.run(r.Context(), h)
	}
}

// stream is one client's connection.
type stream struct {
	http.ResponseWriter
	control *http.ResponseController
}

// open lets the connection live on without a further request, and sends the
// header.
func (s *stream) open() error {
	if err := supported(s.control.SetReadDeadline(time.Time{})); err != nil {
		return err
	}
	return s.send(nil)
}

// send writes b out, or returns why the client is lost.
func (s *stream) send(b []byte) error {
	if err := supported(s.control.SetWriteDeadline(time.Now().Add(streamPatience))); err != nil {
		return err
	}
	if _, err := s.Write(b); err != nil {
		return err
	}
	return s.control.Flush()
}

// supported is err, unless it says that the connection has no deadlines.
func supported(err error) error {
	if errors.Is(err, http.ErrNotSupported) {
		return nil
	}
	return err
}

// run sends states until the client goes or ctx ends.
func (s *stream) run(ctx context.Context, h *HTTP) {
	quiet := time.NewTicker(streamKeepAlive)
	defer quiet.Stop()
	var shown *snapshot
	for {
		now := h.current.Load()
		if now != shown && now.trouble() == "" {
			if s.send(now.rendered().events) != nil || !sleep(ctx, streamInterval) {
				return
			}
			quiet.Reset(streamKeepAlive)
			shown = now
			continue
		}
		select {
		case <-ctx.Done():
			return
		case <-now.next:
		case <-quiet.C:
			if s.send([]byte(":\n\n")) != nil {
				return
			}
		}
	}
}

// sleep waits, and tells whether ctx still goes on.
func sleep(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}
