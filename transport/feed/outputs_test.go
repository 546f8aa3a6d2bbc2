package feed

import (
	"net/http"
	"strings"
	"testing"
)

// TestOutputsAreCounted holds that what an output could not write is shown in the
// health, whether good or bad, and as a counter, by OpenMetrics 1.0, section
// "Counter": the family's name without, the sample's with "_total".
func TestOutputsAreCounted(t *testing.T) {
	h := NewHTTP()
	h.WatchOutputs(func() []OutputHealth { return []OutputHealth{{"can:can1", 3}} })
	h.Publish(boathouse(), healthy())
	w := ask(h, "GET", "/healthz")
	if want := `"outputs":[{"output":"can:can1","unfit":3}]`; w.Code != http.StatusOK || !strings.Contains(w.Body.String(), want) {
		t.Errorf("got %d %s, want %s", w.Code, w.Body, want)
	}
	metrics := ask(h, "GET", "/metrics").Body.String()
	for _, want := range []string{"# TYPE packlink_output_unfit counter\n", "\npacklink_output_unfit_total{output=\"can:can1\"} 3\n"} {
		if strings.Count(metrics, want) != 1 {
			t.Errorf("want once %q in %s", want, metrics)
		}
	}
	h.Publish(boathouse(), nil)
	if w := ask(h, "GET", "/healthz"); w.Code != http.StatusServiceUnavailable || !strings.Contains(w.Body.String(), `"unfit":3`) {
		t.Errorf("got %d %s", w.Code, w.Body)
	}
}
