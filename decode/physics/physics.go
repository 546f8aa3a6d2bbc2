// Package physics says how a battery pack behaves: cells with an open-circuit
// voltage, resistance, relaxation and heat; packs of cells with a management
// system that measures, counts and protects; a bank of packs that share a
// current. What each pack's management says comes out as a [pack.Status], and
// beside it stands the [Truth].
//
// It is a model for tests and practice, not a prediction of any real cell;
// docs/simulation.md gives its equations and their sources. Current and power
// are positive while charging. The same scenario gives the same numbers on
// every machine: each product is rounded before it is added to something, as a
// compiler may otherwise fuse the two where the processor can.
package physics
