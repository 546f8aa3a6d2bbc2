package main

import "strconv"

// The speeds at which recorded or simulated time can pass, of which 1 is the usual
// (chosen: from an hour in a quarter of a year to a day in nine seconds).
const (
	slowest = 0.0005
	fastest = 10_000
)

// parseSpeed reads a speed. It is not ok for a text that is no number, or no speed.
func parseSpeed(text string) (speed float64, ok bool) {
	speed, err := strconv.ParseFloat(text, 64)
	return speed, err == nil && speed >= slowest && speed <= fastest
}
