package main

import "testing"

func TestSpeedsThatAreNone(t *testing.T) {
	for _, text := range []string{"", "0", "-1", "NaN", "Inf", "+Inf", "-Inf", "1e9", "1e-9", "10x", "0x"} {
		if speed, ok := parseSpeed(text); ok {
			t.Errorf("%q is read as %v", text, speed)
		}
	}
	for text, want := range map[string]float64{"1": 1, "0.5": 0.5, "10000": 10000} {
		if speed, ok := parseSpeed(text); !ok || speed != want {
			t.Errorf("%q is read as %v, %v", text, speed, ok)
		}
	}
}
