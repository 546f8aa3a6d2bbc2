//go:build !linux && !windows

package serialbus

import (
	"fmt"

	"go.bug.st/serial"
)

// Ports lists the serial ports of this machine by path. Who made an adapter is
// not known here, as that would need C libraries of the system.
func Ports() ([]Port, error) {
	paths, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("the serial ports cannot be listed: %w", err)
	}
	var ports []Port
	for _, path := range paths {
		ports = append(ports, Port{Path: path})
	}
	return ports, nil
}
