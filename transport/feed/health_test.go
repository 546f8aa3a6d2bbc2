package feed

import (
	"net/http"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

func TestHealthyWhileEverySourceIsFresh(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := shown()
		time.Sleep(250 * time.Millisecond)
		w := ask(h, "GET", "/healthz")
		want := `{"sources":[{"source":"left","fresh":true,"age_s":0.75}]}`
		if w.Code != http.StatusOK || w.Body.String() != want {
			t.Errorf("got %d %s, want 200 %s", w.Code, w.Body, want)
		}
	})
}

func TestUnhealthySourcesAreNamed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := NewHTTP()
		h.Publish(boathouse(), append(healthy(),
			SourceHealth{Source: "shed", Heard: noon - 12*second}, SourceHealth{Source: "jetty"}, SourceHealth{Source: "slip", Heard: noon, Unexplained: true}))
		time.Sleep(time.Second)
		w := ask(h, "GET", "/healthz")
		expectProblem(t, w, http.StatusServiceUnavailable, "source shed is not fresh: last heard 13 s ago", "source jetty was never heard",
			"source slip is heard, and nothing is decoded: last heard 1 s ago")
		if strings.Contains(w.Body.String(), "source left") {
			t.Errorf("the fresh source is called silent: %s", w.Body)
		}
		want := `"sources":[{"source":"left","fresh":true,"age_s":1.5},{"source":"shed","fresh":false,"age_s":13},{"source":"jetty","fresh":false},{"source":"slip","fresh":false,"age_s":1,"unexplained":true}]`
		if !strings.Contains(w.Body.String(), want) {
			t.Errorf("got %s\nwant %s", w.Body, want)
		}
	})
}

func TestNoSourceIsNotHealthy(t *testing.T) {
	h := NewHTTP()
	h.Publish(boathouse(), nil)
	expectProblem(t, ask(h, "GET", "/healthz"), http.StatusServiceUnavailable, "there is no source")
}
