package demo

import (
	"bytes"
	"flag"
	"math"
	"os"
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
	"packlink/transport/capture"
)

var update = flag.Bool("update", false, "write the recording anew")

// TestRecordingIsTheScenario makes the recording again and compares.
func TestRecordingIsTheScenario(t *testing.T) {
	made := record(t)
	if *update {
		if err := os.WriteFile("boathouse.pcapng", made, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(made, recording) {
		t.Error("boathouse.pcapng is not what the scenario gives; make it with: go test ./cmd/packlink/demo -update")
	}
}

// The scenario, all of it invented: two packs of sixteen cells and 100 Ah in a
// boathouse. Lamps and a refrigerator, then a winch that drives the packs to a
// warning, then the sun, then rest. What is drawn is put back, so that the end
// leads into the beginning.

const (
	cells    = 16
	nominal  = 100.0 // Ah
	soh      = 0.995
	startSOC = 0.874
)

var start = time.Date(2026, 5, 28, 9, 0, 0, 0, time.UTC).UnixNano()

// bankCurrent is the bank's current in ampere at a second, positive while
// charging. Its sum over the recording is 0.
func bankCurrent(second int) float64 {
	flicker := 0.6 * math.Sin(float64(second)*2*math.Pi/24)
	switch {
	case second < 72:
		return -27.4 + flicker
	case second < 96:
		return -210 + 2*flicker
	case second < 216:
		return (27.4*72 + 210*24) / 120
	}
	return flicker
}

// unit is one pack of the scenario.
type unit struct {
	address    uint32
	share      float64 // of the bank's current
	cycles     int64
	weakCell   int // from 0: has more resistance than the others
	resistance float64
	warmth     float64 // degC
	charge     float64 // Ah
}

func newUnits() []unit {
	return []unit{
		{address: 1, share: 0.482, cycles: 11, weakCell: 5, resistance: 0.00045, warmth: 22.1, charge: startSOC * nominal * soh},
		{address: 2, share: 0.518, cycles: 22, weakCell: 10, resistance: 0.00041, warmth: 22.6, charge: startSOC * nominal * soh},
	}
}

// status is what the pack says at a second.
func (u *unit) status(second int) *pack.Status {
	current := bankCurrent(second) * u.share
	u.charge += current / 3600
	soc := u.charge / (nominal * soh)
	s := &pack.Status{Address: u.address, HasAddress: true}
	number := func(q pack.Quantity, v float64, exp int8) {
		s.SetNumber(q, pack.Decimal{Coef: int64(math.Round(v * math.Pow10(-int(exp)))), Exp: exp}, start)
	}
	total, highest := 0.0, 0
	for i := range cells {
		v := u.cell(i, soc, current)
		total += v
		if v > u.cell(highest, soc, current) {
			highest = i
		}
		s.PutElement(pack.Cells, i, pack.Value{Coef: int64(math.Round(v * 1000)), Exp: -3, Trust: pack.Known})
	}
	for i := range 24 {
		on := int64(0)
		if current > 10 && i == highest {
			on = 1
		}
		s.PutElement(pack.Balancing, i, pack.Value{Coef: on, Trust: pack.Known})
	}
	number(pack.Voltage, total, -2)
	number(pack.Current, current, -1)
	number(pack.SOC, 100*soc, -1)
	number(pack.SOH, 100*soh, -1)
	number(pack.Remaining, u.charge, -2)
	number(pack.Full, nominal*soh, -2)
	number(pack.Nominal, nominal, 0)
	number(pack.Cycles, float64(u.cycles), 0)
	number(pack.ChargeVoltageLimit, 56.8, -1)
	number(pack.DischargeVoltageLimit, 44.8, -1)
	number(pack.ChargeCurrentLimit, 50, -1)
	number(pack.DischargeCurrentLimit, 100, -1)
	s.SetFlag(pack.ChargeAllowed, true, start)
	s.SetFlag(pack.DischargeAllowed, true, start)
	s.SetFlag(pack.FullChargeWanted, false, start)
	u.heat(s, second, number)
	u.alarms(s, current)
	return s
}

// cell is a cell's voltage: an open-circuit voltage that hardly moves in the
// middle of the range, and what the current makes of it.
func (u *unit) cell(i int, soc, current float64) float64 {
	resistance := u.resistance
	if i == u.weakCell {
		resistance *= 1.45
	}
	scatter := 0.0015 * math.Sin(float64(7*i+int(u.address)))
	return 3.313 + 0.2*(soc-startSOC) + scatter + current*resistance
}

func (u *unit) heat(s *pack.Status, second int, number func(pack.Quantity, float64, int8)) {
	swing := 0.5 * math.Sin(float64(second)*2*math.Pi/Length.Seconds())
	for i, above := range []float64{0.1, 0.4, 0.8} {
		v := pack.Value{Coef: int64(math.Round((u.warmth + above + swing) * 10)), Exp: -1, Trust: pack.Known}
		s.PutElement(pack.Temps, i, v)
	}
	number(pack.TempSwitch, u.warmth+9+3*swing, -1)
}

func (u *unit) alarms(s *pack.Status, current float64) {
	for _, kind := range pack.AlarmKinds() {
		for _, level := range pack.AlarmLevels() {
			a, _ := pack.ParseAlarm(kind, level)
			s.Alarms.Set(a, kind == "discharge_overcurrent" && level == "warning" && current < -95)
		}
	}
}

// record plays the scenario onto a bus and records it.
func record(t *testing.T) []byte {
	t.Helper()
	table, err := library.Compile(Mapping)
	if err != nil {
		t.Fatal(err)
	}
	var file bytes.Buffer
	w, err := capture.NewWriter(&file, capture.Bus{Name: "can0", Medium: transport.CAN})
	if err != nil {
		t.Fatal(err)
	}
	units := newUnits()
	for second := range int(Length.Seconds()) {
		for i := range units {
			at := start + int64(second)*int64(time.Second) + int64(i)*int64(40*time.Millisecond)
			send(t, w, table, units[i].status(second), at)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return file.Bytes()
}

// send puts a pack's messages on the bus, four milliseconds apart; a board
// leaves out the cell messages that it has no cells for.
func send(t *testing.T, w *capture.Writer, table *mapping.Compiled, s *pack.Status, at int64) {
	t.Helper()
	unused := map[string]bool{"cells 17 to 20": true, "cells 21 to 24": true}
	for i := range table.Programs {
		p := &table.Programs[i]
		if unused[p.Name] {
			continue
		}
		data, err := decode.Payload(p, s, nil)
		if err != nil {
			t.Fatalf("%s: %v", p.Name, err)
		}
		at += int64(4 * time.Millisecond)
		f := transport.Frame{Time: at, Medium: transport.CAN, Direction: transport.Received, Flags: transport.Extended, ID: p.ID(s.Address), Data: data}
		if err := w.Send(&f); err != nil {
			t.Fatal(err)
		}
	}
}
