// Package demo says what the demonstration bank is: two simulated packs in a
// boathouse that never was. Beside it lies a recording of them, boathouse.pcapng,
// which a test makes again.
package demo

// The demonstration bank, the scenario that it lives in, and the built-in mapping
// that its packs speak.
const (
	Bank     = "boathouse"
	Scenario = "two-packs"
	Mapping  = "homebrew-can"
)
