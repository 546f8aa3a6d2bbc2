package main

import (
	"strings"
	"testing"

	"packlink/mapping/library"
	"packlink/transport"
)

// TestWhatIsTransmittedIsAnnounced: a bridge says which packs it asks, and that values of
// no pack at hand go to a bus if any output transmits, and only then.
func TestWhatIsTransmittedIsAnnounced(t *testing.T) {
	const caution = "CAUTION: values of source left, which are not of a pack at hand, are TRANSMITTED"
	for scheme, invented := range map[string]bool{"simulate": true, "capture": true, "can": false} {
		for _, transmits := range []bool{true, false} {
			p := &plan{
				sources: []sourcePlan{{name: "left", from: transport.Endpoint{Scheme: scheme, Address: "x"}}},
				outputs: []outputPlan{{}, {transmit: transmits}},
			}
			var log strings.Builder
			announce(p, nil, &log)
			if got := strings.Contains(log.String(), caution); got != (invented && transmits) {
				t.Errorf("%s, transmitting %t: %s", scheme, transmits, log.String())
			}
		}
	}
	var log strings.Builder
	announceSource(&sourcePlan{name: "shed", poll: true, from: transport.Endpoint{Scheme: "serial", Address: "/dev/ttyUSB0"}}, new(plan), &log)
	if want := "source shed  TRANSMITS questions on serial:/dev/ttyUSB0\n"; !strings.HasSuffix(log.String(), want) {
		t.Errorf("got %s, want %s", log.String(), want)
	}
	layout, err := library.Compile("sunspec-battery")
	if err != nil {
		t.Fatal(err)
	}
	answers := &registersOutput{plan: &outputPlan{to: transport.Endpoint{Scheme: "modbus-rtu"}, transmit: true, table: layout}}
	if where := answers.where(); !strings.Contains(where, "TRANSMITS answers") {
		t.Errorf("an output that answers on a line says %s", where)
	}
}
