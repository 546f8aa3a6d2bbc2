package physics

import (
	"time"

	"packlink/decode/pack"
)

// Scenario is a bank, its surroundings and what is asked of it.
type Scenario struct {
	Name    string
	Title   string  // what happens, in a few words
	Seed    uint64  // of the differences among cells
	Ambient float64 // degC, mean temperature of the surroundings
	Swing   float64 // K that they are colder at 04:00 UTC and warmer at 16:00 UTC
	Packs   []Design
	Phases  []Phase // one after another; then the bank rests
	Repeat  bool    // after the last phase the first follows
}

// Design is what a pack is made of, and how it is at the start.
type Design struct {
	Address uint32
	Names   map[pack.Quantity]string // maker, model, serial, firmware, hardware: those that the pack gives

	Cells   int     // in series
	Cell    Cell    // the design of each
	Spread  Spread  // how much the cells differ
	Health  float64 // capacity against rated capacity, 1 when new
	Lead    float64 // ohm, between the cells and the bank's bar, switches included
	Bleed   float64 // ohm, of the resistor that balances a cell
	Sensors int     // temperature sensors, spread over the cells
	Weak    []WeakCell
	Stuck   []StuckSensor
	Meter   CurrentMeter

	ChargeLimit    float64 // A, most charge current of a pack that is warm and not yet full
	DischargeLimit float64 // A, most discharge current, a magnitude
	Charge         float64 // state of charge of each cell at the start, 0 to 1
	Cycles         float64 // full cycles before the start
}

// Cell is the design of a cell. Resistances are those at 25 degC.
type Cell struct {
	Capacity      float64    // Ah, rated
	Resistance    float64    // ohm, what acts at once
	Fast, Slow    Relaxation // what acts later
	SelfDischarge float64    // part of the capacity that leaks away in 30 days
	ColdRise      float64    // K: resistances follow e^(ColdRise (1/T - 1/298.15 K))
	HeatCapacity  float64    // J/K
	Cooling       float64    // W/K, to the surroundings
}

// Relaxation is a resistance in ohm with a capacitor across it.
type Relaxation struct {
	Resistance float64
	Time       time.Duration // the product of the two
}

// Spread is how much cells differ: standard deviations, relative to the
// design's values; that of the charge at the start is a part of a full charge.
type Spread struct{ Capacity, Resistance, SelfDischarge, Charge float64 }

// WeakCell is a cell that sags, from 1: its resistance and its capacity are
// these times what they would be.
type WeakCell struct {
	Cell                 int
	Resistance, Capacity float64
}

// StuckSensor is a sensor whose reading freezes at a time after the start.
// Either Cell or Temp is its number, from 1; the other is 0.
type StuckSensor struct {
	Cell, Temp int
	From       time.Duration
}

// CurrentMeter is the error of a pack's current sensor: it shows Gain times the
// current plus Offset in A.
type CurrentMeter struct{ Gain, Offset float64 }

// Typical is a sound pack of cells of so many Ah, half full. Its values are of
// a usual magnitude, and no real pack's.
func Typical(cells int, ah float64) Design {
	resistance := 0.04 / ah
	return Design{
		Address: 1,
		Cells:   cells,
		Cell: Cell{
			Capacity: ah, Resistance: resistance,
			Fast:          Relaxation{0.5 * resistance, 30 * time.Second},
			Slow:          Relaxation{0.75 * resistance, 20 * time.Minute},
			SelfDischarge: 0.02, ColdRise: 2500, HeatCapacity: 20 * ah, Cooling: 0.002 * ah,
		},
		Spread: Spread{Capacity: 0.01, Resistance: 0.03, SelfDischarge: 0.1, Charge: 0.002},
		Health: 1, Lead: 0.15 / ah, Bleed: 33, Sensors: 4,
		Meter:       CurrentMeter{Gain: 1},
		ChargeLimit: 0.5 * ah, DischargeLimit: ah,
		Charge: 0.5,
	}
}
