package feed

import (
	"net/http"
	"strconv"
	"sync/atomic"
	"time"

	"packlink/decode/bank"
)

// HTTP shows the newest published status: as JSON, as a stream of events, as
// metrics and as a live page. It answers GET and HEAD only, and is safe for
// use by many goroutines. Make one with [NewHTTP].
type HTTP struct {
	current atomic.Pointer[snapshot]
	streams atomic.Int64 // how many streams are open
	outputs func() []OutputHealth
}

// NewHTTP makes a handler that has nothing to show yet.
func NewHTTP() *HTTP {
	h := &HTTP{outputs: func() []OutputHealth { return nil }}
	h.current.Store(&snapshot{next: make(chan struct{})})
	return h
}

// Publish replaces what is shown. It never waits for a client. Neither b nor
// sources may be changed afterwards. See [Overdue] for how often to publish.
func (h *HTTP) Publish(b *bank.Bank, sources []SourceHealth) {
	old := h.current.Swap(&snapshot{bank: b, sources: sources, outputs: h.outputs(), at: time.Now(), next: make(chan struct{})})
	close(old.next)
}

// routes are all there is to ask for. What stands under withStatus is answered
// only while there is a status to show.
var routes = map[string]func(*HTTP, http.ResponseWriter, *http.Request){
	"/v1/bank":   withStatus("application/json", func(s *snapshot) []byte { return s.rendered().record }),
	"/v1/packs":  withStatus("application/json", func(s *snapshot) []byte { return s.rendered().array }),
	"/v1/stream": (*HTTP).serveStream,
	"/metrics":   withStatus(openMetrics, func(s *snapshot) []byte { return appendMetrics(make([]byte, 0, 16<<10), s) }),
	"/healthz":   (*HTTP).serveHealth,
	"/":          page("text/html; charset=utf-8", "page/index.html"),
	"/live.js":   page("text/javascript; charset=utf-8", "page/live.js"),
	"/live.css":  page("text/css; charset=utf-8", "page/live.css"),
	"/icon.svg":  page("image/svg+xml", "page/icon.svg"),
}

// ServeHTTP answers one request.
func (h *HTTP) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	header := w.Header()
	header.Set("X-Content-Type-Options", "nosniff")
	header.Set("Content-Security-Policy", "default-src 'self'")
	header.Set("Referrer-Policy", "no-referrer")
	header.Set("Cache-Control", "no-store")
	route, found := routes[r.URL.Path]
	switch {
	case !found:
		problem{Status: http.StatusNotFound, Detail: "there is nothing at this path; the records are at /v1/bank, /v1/packs and /v1/stream"}.write(w, r)
	case r.Method != http.MethodGet && r.Method != http.MethodHead:
		header.Set("Allow", "GET, HEAD")
		problem{Status: http.StatusMethodNotAllowed, Detail: "everything here can be read with GET or HEAD, and nothing can be written"}.write(w, r)
	default:
		route(h, w, r)
	}
}

// withStatus answers with the body of the status, or says why there is no status.
func withStatus(contentType string, body func(*snapshot) []byte) func(*HTTP, http.ResponseWriter, *http.Request) {
	return func(h *HTTP, w http.ResponseWriter, r *http.Request) {
		s := h.current.Load()
		if trouble := s.trouble(); trouble != "" {
			problem{Status: http.StatusServiceUnavailable, Detail: trouble}.write(w, r)
			return
		}
		answer(w, r, http.StatusOK, contentType, body(s))
	}
}

// answer writes a whole answer, without its body for HEAD. A client that has
// gone away is no error.
func answer(w http.ResponseWriter, r *http.Request, status int, contentType string, body []byte) {
	w.Header().Set("Content-Type", contentType)
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	w.WriteHeader(status)
	if r.Method != http.MethodHead {
		_, _ = w.Write(body)
	}
}
