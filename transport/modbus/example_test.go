package modbus_test

import (
	"fmt"

	"packlink/transport/modbus"
)

// A unit answers what it knows, refuses what it does not know, and lets nobody write.
func ExampleUnits() {
	identity := modbus.Identity{VendorName: "bench", ProductCode: "pack", MajorMinorRevision: "1.0"}
	image, err := modbus.NewImage(identity, []modbus.Block{
		{From: 0, Words: []uint16{5248, 875, 0}, Missing: []bool{false, false, true}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	var units modbus.Units
	if err := units.Publish(1, image); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("two registers: % X\n", units.Answer(1, []byte{3, 0, 0, 0, 2}, nil))
	fmt.Printf("one unknown:   % X\n", units.Answer(1, []byte{3, 0, 2, 0, 1}, nil))
	fmt.Printf("a write:       % X\n", units.Answer(1, []byte{6, 0, 0, 0, 9}, nil))
	// Output:
	// two registers: 03 04 14 80 03 6B
	// one unknown:   83 0B
	// a write:       86 01
}
