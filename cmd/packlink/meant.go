package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"packlink/transport"
	"packlink/transport/capture"
)

// The names that systems give to CAN interfaces and serial ports.
var (
	interfaceName = regexp.MustCompile(`^v?can[0-9]+$`)
	portName      = regexp.MustCompile(`^(/dev/(tty|serial/|cu\.).*|COM[0-9]+)$`)
)

// meant is the bus that a user means who left out its scheme: can:can0 for can0.
// It is empty where the text is a file, or like no bus.
func meant(path string) string {
	if info, err := os.Stat(path); err == nil && info.Mode().IsRegular() {
		return ""
	}
	switch name := filepath.Base(path); {
	case portName.MatchString(path):
		return "serial:" + path
	case interfaceName.MatchString(name):
		return "can:" + name
	}
	return ""
}

// openCapture opens a recording. The error of one that is not there says what may
// have been meant.
func openCapture(path string) (*capture.Reader, error) {
	if bus := meant(path); bus != "" {
		return nil, &hinted{fmt.Errorf("%s: no such file; a bus is written with its kind: %s", path, bus), "packlink identify " + bus}
	}
	if err := aFile(path); err != nil {
		return nil, unreadable(err, "recording", "")
	}
	r, err := capture.Open(path)
	return r, unreadable(err, "recording", "")
}

// notABus says what is wrong with an endpoint that no bus can be heard on.
func notABus(e transport.Endpoint) error {
	err := fmt.Errorf("%s: a bus begins with can:, slcan:, serial: or tcp: instead", e)
	bus := meant(e.Address)
	switch {
	case e.Scheme != "capture":
		return err
	case bus != "":
		return &hinted{err, bus + " in its place"}
	case strings.Contains(e.Address, "."):
		return &hinted{err, "packlink decode " + e.Address + ", if this is a recording"}
	}
	return &hinted{err, "packlink adapters"}
}
