package main

import (
	"context"
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/pflag"

	"packlink/transport/canbus"
	"packlink/transport/serialbus"
)

var adaptersVerb = verb{
	name:    "adapters",
	summary: "lists the serial ports and CAN interfaces of this machine",
	text: `
Lists the serial ports with their USB identity and the path that stays the same
when an adapter is plugged in again, and the CAN interfaces with their state, bit
rate and error counters. No port is opened.`,
	prepare: func(*pflag.FlagSet) func(context.Context, []string, *streams) error {
		return func(_ context.Context, args []string, s *streams) error {
			if len(args) > 0 {
				return usageError{fmt.Errorf("adapters: takes no arguments, and %q is given", args[0])}
			}
			return listAdapters(s)
		}
	},
}

func listAdapters(s *streams) error {
	ports, err := serialbus.Ports()
	if err != nil {
		return fmt.Errorf("the serial ports cannot be listed: %w", err)
	}
	buses, err := canbus.Interfaces()
	if err != nil {
		return fmt.Errorf("the CAN interfaces cannot be listed: %w", err)
	}
	var table strings.Builder
	w := tabwriter.NewWriter(&table, 0, 0, 2, ' ', 0)
	for i := range buses {
		fmt.Fprintf(w, "can:%s\t%s\n", buses[i].Name, describeInterface(&buses[i]))
	}
	for i := range ports {
		path := ports[i].Stable
		if path == "" {
			path = ports[i].Path
		}
		fmt.Fprintf(w, "serial:%s\t%s\n", path, describePort(&ports[i]))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for line := range strings.Lines(table.String()) {
		if _, err := fmt.Fprintln(s.out, strings.TrimRight(line, " \n")); err != nil {
			return err
		}
	}
	if absent := absentAdapters(len(ports), len(buses)); absent != "" {
		fmt.Fprintf(s.log, "%s is here; plug an adapter in and look again\n", absent)
	}
	return nil
}

// absentAdapters names the kinds that none was found of; "" if both were.
func absentAdapters(ports, buses int) string {
	switch {
	case ports+buses == 0:
		return "no serial port and no CAN interface"
	case ports == 0:
		return "no serial port"
	case buses == 0:
		return "no CAN interface"
	}
	return ""
}

// describeInterface is a CAN interface's state in words.
func describeInterface(i *canbus.Interface) string {
	parts := []string{"down"}
	if i.Up {
		parts[0] = "up"
	}
	if i.Kind != "" && i.Kind != "can" {
		parts = append(parts, i.Kind)
	}
	if i.State != canbus.StateUnknown {
		parts = append(parts, i.State.String())
	}
	if i.BitRate > 0 {
		parts = append(parts, fmt.Sprintf("%d bit/s", i.BitRate))
	}
	if i.Counted {
		parts = append(parts, fmt.Sprintf("errors sent %d, received %d", i.TxErrors, i.RxErrors))
	}
	if !i.Up && i.Kind == "can" {
		parts = append(parts, "bring it up: ip link set "+i.Name+" up type can bitrate 500000")
	}
	return strings.Join(parts, ", ")
}

// describePort is what is known of a serial port's adapter.
func describePort(p *serialbus.Port) string {
	var parts []string
	if p.Stable != "" {
		parts = append(parts, "now "+p.Path)
	}
	if p.VendorID != "" {
		parts = append(parts, "USB "+p.VendorID+":"+p.ProductID)
	}
	for _, text := range []string{p.Manufacturer, p.Product, p.SerialNumber} {
		if text != "" {
			parts = append(parts, text)
		}
	}
	return strings.Join(parts, ", ")
}
