package main

import "testing"

func TestAbsentAdaptersAreNamed(t *testing.T) {
	for have, want := range map[[2]int]string{
		{0, 0}: "no serial port and no CAN interface", {2, 0}: "no CAN interface", {0, 1}: "no serial port", {1, 1}: "",
	} {
		if got := absentAdapters(have[0], have[1]); got != want {
			t.Errorf("%d ports and %d interfaces: got %q, want %q", have[0], have[1], got, want)
		}
	}
}
