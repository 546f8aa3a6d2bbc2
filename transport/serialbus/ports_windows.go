package serialbus

import (
	"fmt"
	"strings"

	"go.bug.st/serial/enumerator"
)

// Ports lists the serial ports of this machine, without stable paths.
func Ports() ([]Port, error) {
	found, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("the serial ports cannot be listed: %w", err)
	}
	var ports []Port
	for _, d := range found {
		ports = append(ports, Port{
			Path: d.Name, VendorID: strings.ToLower(d.VID), ProductID: strings.ToLower(d.PID),
			SerialNumber: d.SerialNumber, Manufacturer: d.Manufacturer, Product: d.Product,
		})
	}
	return ports, nil
}
