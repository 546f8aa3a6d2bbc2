package scenario

import (
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"packlink/decode/pack"
	"packlink/decode/physics"

	"github.com/google/go-cmp/cmp"
)

// simulate lets a scenario run for some seconds and reads what the packs say.
func simulate(t *testing.T, s *physics.Scenario, seconds int) *physics.Bank {
	t.Helper()
	b, err := physics.NewBank(s, time.Date(2026, 5, 28, 9, 0, 0, 0, time.UTC).UnixNano())
	if err != nil {
		t.Fatalf("what is read cannot be simulated: %v", err)
	}
	var status pack.Status
	for range seconds {
		b.Step(time.Second)
		for i := range b.Packs() {
			b.Status(i, &status)
		}
	}
	return b
}

func load(t *testing.T, name string) *physics.Scenario {
	t.Helper()
	s, err := Load(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func value(t *testing.T, b *physics.Bank, i int, q pack.Quantity) float64 {
	t.Helper()
	var s pack.Status
	b.Status(i, &s)
	d, ok := s.Usable(q)
	if !ok {
		t.Fatalf("%v is not known", q)
	}
	return d.Float64()
}

// alarms are what is active of a pack.
func alarms(b *physics.Bank, i int) (names string) {
	var s pack.Status
	b.Status(i, &s)
	for a := range s.Alarms.All() {
		names += a.String() + ";"
	}
	return names
}

// TestBuiltIn holds that every built-in scenario is called as its file, and runs.
func TestBuiltIn(t *testing.T) {
	if len(Names()) < 4 {
		t.Errorf("there are only %v", Names())
	}
	for _, name := range Names() {
		s := load(t, name)
		if s.Name != name || s.Title == "" {
			t.Errorf("%s is called %q, %q", name, s.Name, s.Title)
		}
		simulate(t, s, 600)
	}
}

// TestTwoPacks holds the boathouse to its story: the winch makes both packs
// warn, nothing opens, they share nearly evenly, and the end leads into the
// beginning.
func TestTwoPacks(t *testing.T) {
	s := load(t, "two-packs")
	b := simulate(t, s, 90)
	for i := range 2 {
		if got := alarms(b, i); got != "discharge_overcurrent warning;" {
			t.Errorf("under the winch pack %d says %q", i+1, got)
		}
		if share := value(t, b, i, pack.Current) / -210; math.Abs(share-0.5) > 0.04 {
			t.Errorf("pack %d has %g of the current", i+1, share)
		}
	}
	weak := value(t, b, 0, pack.CellMinAt)
	b.Step(150 * time.Second)
	for i := range 2 {
		if got := alarms(b, i); got != "" {
			t.Errorf("at rest pack %d says %q", i+1, got)
		}
		if soc := value(t, b, i, pack.SOC); math.Abs(soc-87.4) > 0.1 {
			t.Errorf("at the end pack %d is at %g %%", i+1, soc)
		}
	}
	if weak != 6 {
		t.Errorf("cell %g sags, not 6", weak)
	}
}

// TestCapacityTest counts the charge from full to empty from outside: it is the
// capacity of the weakest cell, but for what is left at the cut-off.
func TestCapacityTest(t *testing.T) {
	b := simulate(t, load(t, "capacity-test"), 4*3600)
	if soc := value(t, b, 0, pack.SOC); soc != 100 {
		t.Fatalf("after charging the state of charge is %g %%", soc)
	}
	before := b.Truth(0).Discharged
	b.Step(5*time.Hour + 30*time.Minute)
	truth := b.Truth(0)
	weakest := math.Inf(1)
	for _, c := range truth.Cells {
		weakest = min(weakest, c.Capacity)
	}
	if got := truth.Discharged - before; truth.DischargeSwitch || got > weakest || got < 0.9*weakest {
		t.Errorf("%g Ah of a capacity of %g Ah; the discharge switch is closed: %t", got, weakest, truth.DischargeSwitch)
	}
}

// TestColdMorning holds that a pack below freezing gives and does not take, and
// takes once it is warm.
func TestColdMorning(t *testing.T) {
	b := simulate(t, load(t, "cold-morning"), 1)
	var chargedCold, warm, cold float64
	for range 24 * 60 {
		before := b.Truth(0)
		frozen := before.Cells[0].Temp < -0.5 && !before.ChargeSwitch
		b.Step(time.Minute)
		after := b.Truth(0)
		if in := after.Charged - before.Charged; frozen && after.Cells[0].Temp < -0.5 {
			chargedCold += in
			cold += after.Discharged - before.Discharged
		} else {
			warm += in
		}
	}
	if chargedCold != 0 || cold == 0 || warm == 0 {
		t.Errorf("below freezing %g Ah went in and %g Ah out; else %g Ah went in", chargedCold, cold, warm)
	}
}

// TestUnequalPair holds that current flows between the packs at rest, and that
// the new one takes most of a load.
func TestUnequalPair(t *testing.T) {
	b := simulate(t, load(t, "unequal-pair"), 60)
	if a, c := b.Truth(0).Current, b.Truth(1).Current; math.Abs(a+c) > 1e-6 || a > -1 {
		t.Errorf("at rest %g A and %g A flow", a, c)
	}
	b.Step(31 * time.Minute)
	if a, c := b.Truth(0).Current, b.Truth(1).Current; a > 1.5*c {
		t.Errorf("of a load they take %g A and %g A", a, c)
	}
}

// TestLoadNamesWhatThereIs asks for scenarios that are not there.
func TestLoadNamesWhatThereIs(t *testing.T) {
	if _, err := Load("no-such"); err == nil || !strings.Contains(err.Error(), "two-packs") || !strings.Contains(err.Error(), "./no-such.yaml") {
		t.Errorf("got %v", err)
	}
	if _, err := Load("./no-such.yaml"); !os.IsNotExist(err) {
		t.Errorf("got %v", err)
	}
	path := filepath.Join(t.TempDir(), "mine.yaml")
	data, err := files.ReadFile("unequal-pair.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(load(t, "unequal-pair"), load(t, path)); diff != "" {
		t.Error(diff)
	}
}

// TestEveryKeyIsRead reads a file with every key and compares with what it means.
func TestEveryKeyIsRead(t *testing.T) {
	got, err := Read("all.yaml", []byte(everyKey))
	if err != nil {
		t.Fatal(err)
	}
	d := physics.Typical(8, 50)
	d.Address, d.Sensors, d.Health, d.Charge, d.Cycles = 9, 2, 0.97, 0.425, 12
	d.ChargeLimit, d.DischargeLimit, d.Lead, d.Bleed = 20, 40, 0.003, 40
	d.Cell.Resistance, d.Cell.SelfDischarge = 0.0016, 0.03
	d.Cell.Fast.Resistance, d.Cell.Slow.Resistance = 0.0008, 0.0012
	d.Spread = physics.Spread{Capacity: 0.02, Resistance: 0.04, SelfDischarge: 0.05, Charge: 0.01}
	d.Meter = physics.CurrentMeter{Gain: 1.01, Offset: -0.05}
	d.Weak = []physics.WeakCell{{Cell: 3, Resistance: 2, Capacity: 0.9}}
	d.Stuck = []physics.StuckSensor{{Cell: 4, From: time.Minute}, {Temp: 2}}
	d.Names = map[pack.Quantity]string{pack.Maker: "us", pack.Model: "8s", pack.Serial: "1", pack.Firmware: "2", pack.Hardware: "3"}
	want := &physics.Scenario{
		Name: "all", Title: "All keys", Seed: 3, Ambient: -4, Swing: 5, Packs: []physics.Design{d}, Repeat: true,
		Phases: []physics.Phase{
			{For: time.Minute, Demand: physics.Current{}},
			{For: time.Minute, Demand: physics.Current{From: -7.5, To: -7.5}},
			{For: time.Minute, Demand: physics.Power{Watts: -500}},
			{For: time.Hour, Demand: physics.Charge{Amperes: 10, Volts: 28}},
			{For: time.Minute, Demand: physics.Current{From: -10, To: 10.5}},
			{For: 24 * time.Hour, Demand: physics.Day{Sun: 900, House: 100, Rise: 7 * time.Hour, Set: 19 * time.Hour}},
		},
	}
	close := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-12 })
	if diff := cmp.Diff(want, got, close); diff != "" {
		t.Error(diff)
	}
}

const everyKey = `
packlink: 1
name: all
title: All keys
seed: 3
ambient_c: -4
swing_c: 5
packs:
  - address: 9
    cells: 8
    capacity_ah: 50
    sensors: 2
    soh_pct: 97
    soc_pct: 42.5
    cycles: 12
    charge_a: 20
    discharge_a: 40
    lead_ohm: 0.003
    bleed_ohm: 40
    cell_ohm: 0.0016
    self_discharge_pct: 3
    spread: {capacity_pct: 2, resistance_pct: 4, self_discharge_pct: 5, soc_pct: 1}
    meter: {gain: 1.01, offset_a: -0.05}
    weak: [{cell: 3, resistance: 2, capacity: 0.9}]
    stuck: [{cell: 4, from: 1m}, {temp: 2}]
    names: {maker: us, model: 8s, serial: '1', firmware: '2', hardware: '3'}
profile:
  - {do: rest, for: 1m}
  - {do: load, current_a: 7.5, for: 1m}
  - {do: load, power_w: 500, for: 1m}
  - {do: charge, current_a: 10, voltage_v: 28, for: 1h}
  - {do: ramp, from_a: -10, to_a: 10.5, for: 1m}
  - {do: day, sun_w: 900, house_w: 100, sunrise: 7h, sunset: 19h, for: 24h}
repeat: true
`

// TestDocumentedKeys holds that docs/simulation.md names every key.
func TestDocumentedKeys(t *testing.T) {
	text, err := os.ReadFile("../../../docs/simulation.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, match := range regexp.MustCompile(`([a-z_]+):`).FindAllStringSubmatch(everyKey, -1) {
		if !strings.Contains(string(text), "`"+match[1]+"`") {
			t.Errorf("docs/simulation.md does not name %s", match[1])
		}
	}
}
