package feed

import (
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

func TestRecords(t *testing.T) {
	h := shown()
	b := boathouse()
	for path, want := range map[string]string{
		"/v1/bank":  string(b.AppendJSON(nil)),
		"/v1/packs": "[" + string(b.Packs[0].AppendJSON(nil)) + "," + string(b.Packs[1].AppendJSON(nil)) + "]",
	} {
		w := ask(h, "GET", path)
		if w.Code != http.StatusOK || w.Body.String() != want || w.Header().Get("Content-Type") != "application/json" {
			t.Errorf("%s: got %d %s\n%s\nwant %s", path, w.Code, w.Header().Get("Content-Type"), w.Body, want)
		}
		if !json.Valid(w.Body.Bytes()) {
			t.Errorf("%s is not JSON: %s", path, w.Body)
		}
	}
}

func TestNewestStatusIsShown(t *testing.T) {
	h := shown()
	h.Publish(boathouse(1, 2), healthy())
	if got := ask(h, "GET", "/v1/bank").Body.String(); !strings.Contains(got, `"packs_fresh":0`) || strings.Contains(got, "voltage_v") {
		t.Errorf("got %s", got)
	}
}

func TestStalePackIsMarkedAndForbids(t *testing.T) {
	h := NewHTTP()
	h.Publish(boathouse(2), healthy())
	var packs []map[string]any
	if err := json.Unmarshal(ask(h, "GET", "/v1/packs").Body.Bytes(), &packs); err != nil {
		t.Fatal(err)
	}
	stale := packs[1]["stale"].([]any)
	if packs[0]["stale"] != nil || !slices.Contains(stale, any("voltage_v")) || packs[1]["charge_allowed"] != false {
		t.Errorf("got stale %v, charge_allowed %v", stale, packs[1]["charge_allowed"])
	}
}

// The clock of a synctest bubble stands still, so that no age has a digit more
// the second time.
func TestHeadHasTheHeadersOfGet(t *testing.T) { synctest.Test(t, headHasTheHeadersOfGet) }

func headHasTheHeadersOfGet(t *testing.T) {
	h := shown()
	for path := range routes {
		head := ask(h, "HEAD", path)
		if head.Code != http.StatusOK || head.Body.Len() != 0 {
			t.Errorf("HEAD %s: got %d and %d bytes", path, head.Code, head.Body.Len())
		}
		if path == "/v1/stream" {
			if got := head.Header().Get("Content-Type"); got != "text/event-stream" {
				t.Errorf("HEAD %s: content type %q", path, got)
			}
			continue
		}
		get := ask(h, "GET", path)
		if got, want := head.Header().Get("Content-Length"), strconv.Itoa(get.Body.Len()); got != want {
			t.Errorf("HEAD %s: content length %s, and GET sends %s", path, got, want)
		}
		if got, want := head.Header().Get("Content-Type"), get.Header().Get("Content-Type"); got != want {
			t.Errorf("HEAD %s: content type %q, and GET has %q", path, got, want)
		}
	}
}

func TestUnknownPathsAreProblems(t *testing.T) {
	h := shown()
	for _, path := range []string{"/v1", "/v1/", "/v1/bank/", "/v1/Bank", "/page/index.html", "/index.html", "/../live.js", "//", "/v1/bank%00"} {
		expectProblem(t, ask(h, "GET", path), http.StatusNotFound, "/v1/bank")
	}
}

// Every path refuses every method that could write.
func TestNothingCanBeWritten(t *testing.T) {
	h := shown()
	for path := range routes {
		for _, method := range []string{"POST", "PUT", "PATCH", "DELETE", "OPTIONS", "CONNECT", "TRACE", "get", "PURGE"} {
			w := ask(h, method, path)
			expectProblem(t, w, http.StatusMethodNotAllowed, "nothing can be written")
			if allow := w.Header().Get("Allow"); allow != "GET, HEAD" {
				t.Errorf("%s %s: Allow is %q", method, path, allow)
			}
		}
	}
}

func TestNothingIsShownBeforeTheFirstStatus(t *testing.T) {
	h := NewHTTP()
	for _, path := range []string{"/v1/bank", "/v1/packs", "/metrics", "/healthz"} {
		expectProblem(t, ask(h, "GET", path), http.StatusServiceUnavailable, "nothing has been heard")
	}
	if w := ask(h, "GET", "/"); w.Code != http.StatusOK {
		t.Errorf("the page: got %d", w.Code)
	}
}

func TestOldStatusIsNotShown(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := shown()
		time.Sleep(Overdue)
		if w := ask(h, "GET", "/v1/bank"); w.Code != http.StatusOK {
			t.Errorf("at the limit: got %d", w.Code)
		}
		time.Sleep(2 * time.Second)
		for _, path := range []string{"/v1/bank", "/v1/packs", "/metrics", "/healthz"} {
			expectProblem(t, ask(h, "GET", path), http.StatusServiceUnavailable, "12 s old")
		}
		h.Publish(boathouse(), healthy())
		if w := ask(h, "GET", "/v1/bank"); w.Code != http.StatusOK {
			t.Errorf("after a new status: got %d", w.Code)
		}
	})
}

func TestEveryAnswerHasTheSecurityHeaders(t *testing.T) {
	h := shown()
	for _, path := range []string{"/", "/v1/bank", "/metrics", "/nowhere"} {
		header := ask(h, "GET", path).Header()
		if header.Get("X-Content-Type-Options") != "nosniff" || header.Get("Content-Security-Policy") != "default-src 'self'" {
			t.Errorf("%s: got %v", path, header)
		}
	}
}
