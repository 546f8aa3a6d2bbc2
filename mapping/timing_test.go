package mapping_test

import (
	"testing"
	"time"

	"packlink/mapping"
)

// TestTimeouts holds what docs/mapping.md says of a message that gives no time-out.
func TestTimeouts(t *testing.T) {
	for timing, want := range map[string]time.Duration{
		"":                             time.Minute,
		", every: 2s":                  6 * time.Second,
		", every: 2s, timeout: 2500ms": 2500 * time.Millisecond,
		", timeout: 5m":                5 * time.Minute,
	} {
		m, err := mapping.Load("test.yaml", []byte(`{packlink: 1, name: test, title: t, source: [{title: s}], bus: {can: {bitrate: 500000, id_bits: 11}},
messages: [{name: a, can: {id: 1`+timing+`}, fields: [{at: 0, as: u8, is: soc_pct}], examples: [{hex: 58, gives: {soc_pct: 88}, source: s}]}]}`), nil)
		if err != nil {
			t.Fatal(err)
		}
		if got := m.Messages[0].Timeout; got != want {
			t.Errorf("%q: the time-out is %v, want %v", timing, got, want)
		}
	}
}
