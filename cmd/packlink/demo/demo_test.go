package demo

import (
	"bytes"
	"flag"
	"os"
	"testing"
	"time"

	"packlink/decode/physics/scenario"
	"packlink/decode/simulate"
	"packlink/mapping/library"
	"packlink/transport"
	"packlink/transport/capture"
)

var update = flag.Bool("update", false, "write the recording anew")

// TestRecordingIsTheScenario makes the recording again from the scenario, all of it
// invented, and compares.
func TestRecordingIsTheScenario(t *testing.T) {
	made := record(t)
	if *update {
		if err := os.WriteFile("boathouse.pcapng", made, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	recording, err := os.ReadFile("boathouse.pcapng")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(made, recording) {
		t.Error("boathouse.pcapng is not what the scenario gives; make it with: go test ./cmd/packlink/demo -update")
	}
}

// length is how long the recording takes, one round of the scenario.
const length = 240 * time.Second

var start = time.Date(2026, 5, 28, 9, 0, 0, 100_000_000, time.UTC).UnixNano()

// record lets the scenario's packs speak for its length, and records them.
func record(t *testing.T) []byte {
	t.Helper()
	table, err := library.Compile(Mapping)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := scenario.Load(Scenario)
	if err != nil {
		t.Fatal(err)
	}
	traffic, err := simulate.New(table, plan, start, simulate.Wire{})
	if err != nil {
		t.Fatal(err)
	}
	var file bytes.Buffer
	w, err := capture.NewWriter(&file, capture.Bus{Name: "can0", Medium: transport.CAN})
	if err != nil {
		t.Fatal(err)
	}
	var f transport.Frame
	for {
		if err := traffic.Receive(&f); err != nil {
			t.Fatal(err)
		}
		if f.Time >= start+int64(length) {
			break
		}
		if err := w.Send(&f); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return file.Bytes()
}
