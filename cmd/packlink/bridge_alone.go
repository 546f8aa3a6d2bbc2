package main

import (
	"path/filepath"
	"slices"

	"packlink/mapping/document"
	"packlink/transport"
)

// serialPorts are the endpoints whose address is the path of a serial port, which one
// alone can open.
var serialPorts = []string{"serial", "slcan", "modbus-rtu"}

// sameBus tells whether two endpoints are at the same address. A serial port can have
// several names, such as those under /dev/serial/by-id and those that are relative.
func sameBus(a, b transport.Endpoint) bool { return busName(a) == busName(b) }

func busName(e transport.Endpoint) string {
	if slices.Contains(serialPorts, e.Scheme) {
		return portPath(e.Address)
	}
	return e.Address
}

// portPath is the one name of a serial port, as far as the file system gives one.
func portPath(path string) string {
	if whole, err := filepath.Abs(path); err == nil {
		path = whole
	}
	if target, err := filepath.EvalSymlinks(path); err == nil {
		path = target
	}
	return path
}

// bothNames is what two endpoints on the same bus call it.
func bothNames(a, b transport.Endpoint) string {
	if a.Address == b.Address {
		return a.Address
	}
	return a.Address + ", which is also " + b.Address
}

// sourceAlone reports a source whose serial port another one has.
func (l planLoader) sourceAlone(n *document.Node, source *sourcePlan, p *plan) {
	for _, other := range p.sources {
		if slices.Contains(serialPorts, source.from.Scheme) && sameBus(source.from, other.from) {
			l.Report(n, ruleTwice, "sources %s and %s have one port, %s: only one of them can open it", other.name, source.name, bothNames(other.from, source.from))
		}
	}
}

// alone reports an output whose port somebody else has.
func (l planLoader) alone(n *document.Node, output *outputPlan, p *plan) {
	for _, other := range p.outputs {
		if output.to.Address != "" && sameBus(output.to, other.to) {
			l.Report(n, ruleTwice, "two outputs listen on %s", bothNames(other.to, output.to))
		}
	}
	for _, source := range p.sources {
		if outputKinds[output.to.Scheme].transmits && sameBus(output.to, source.from) {
			l.Report(n, ruleTwice, "source %s has %s: an output needs a bus of its own", source.name, bothNames(source.from, output.to))
		}
	}
}
