// Package demo holds the demonstration bank: a recording of two packs in a
// boathouse that never was. A test makes the recording from the scenario in
// demo_test.go, so that anyone can see where it comes from.
package demo

import (
	"bytes"
	_ "embed"
	"io"
	"time"
)

// Bank is the name of the demonstration bank.
const Bank = "boathouse"

// Mapping is the built-in mapping that decodes the recording.
const Mapping = "homebrew-can"

// Length is how long the recording takes; its end leads into its beginning.
const Length = 240 * time.Second

//go:embed boathouse.pcapng
var recording []byte

// Recording is the recording, from its beginning: a capture of one CAN bus.
func Recording() io.Reader { return bytes.NewReader(recording) }
