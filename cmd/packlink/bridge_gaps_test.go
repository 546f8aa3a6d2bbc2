package main

import (
	"testing"
	"testing/synctest"
	"time"
)

// TestStatesAreKeptApart: a few frames close together are all shown at once, and a
// stream of them at most once in a gap.
func TestStatesAreKeptApart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		g := gaps{}
		for range 3 {
			begun := time.Now()
			for range publishBurst {
				g.wait()
			}
			if took := time.Since(begun); took != 0 {
				t.Errorf("a burst is shown in %s", took)
			}
			for range 100 {
				g.wait()
			}
			if took := time.Since(begun); took != 100*publishGap {
				t.Errorf("then 100 states are shown in %s", took)
			}
			time.Sleep(time.Second)
		}
	})
}
