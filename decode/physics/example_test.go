package physics_test

import (
	"fmt"
	"time"

	"packlink/decode/pack"
	"packlink/decode/physics"
)

// Two packs share a load as their resistances have it; the second has the
// longer lead.
func Example() {
	near, far := physics.Typical(16, 100), physics.Typical(16, 100)
	far.Address, far.Lead = 2, 0.004
	bank, err := physics.NewBank(&physics.Scenario{
		Name: "winch", Seed: 1, Ambient: 20,
		Packs:  []physics.Design{near, far},
		Phases: []physics.Phase{{For: time.Minute, Demand: physics.Current{From: -100, To: -100}}},
	}, 1_700_000_000_000_000_000)
	if err != nil {
		fmt.Println(err)
		return
	}
	bank.Step(30 * time.Second)
	var s pack.Status
	for i := range bank.Packs() {
		bank.Status(i, &s)
		volts, _ := s.Usable(pack.Voltage)
		amperes, _ := s.Usable(pack.Current)
		fmt.Printf("pack %d: %v V, %v A, in truth %.4f A\n", s.Address, volts, amperes, bank.Truth(i).Current)
	}
	// Output:
	// pack 1: 51.71 V, -54.85 A, in truth -54.8539 A
	// pack 2: 51.81 V, -45.15 A, in truth -45.1461 A
}
