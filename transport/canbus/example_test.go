package canbus_test

import (
	"fmt"

	"packlink/transport"
	"packlink/transport/canbus"
)

// The same length of data takes more or less time on the bus, depending on how
// many stuff bits it needs.
func ExampleFrameBits() {
	for _, data := range [][]byte{{0x55, 0x55}, {0, 0}} {
		bits, _ := canbus.FrameBits(&transport.Frame{ID: 0x355, Medium: transport.CAN, Data: data})
		fmt.Printf("% X: %d bits, %.0f us at 500 kbit/s\n", data, bits, float64(bits)/0.5)
	}
	// Output:
	// 55 55: 64 bits, 128 us at 500 kbit/s
	// 00 00: 68 bits, 136 us at 500 kbit/s
}

// An adapter that is not there gives an error that says what may help.
func ExampleListen() {
	endpoint, err := transport.ParseEndpoint("slcan:/dev/ttyACM0?bitrate=512000")
	if err != nil {
		fmt.Println(err)
		return
	}
	_, err = canbus.Listen(endpoint, func(e canbus.Event) { fmt.Println(e) })
	fmt.Println(err)
	// Output: endpoint "slcan:/dev/ttyACM0?bitrate=512000": bitrate is "512000", expected one of [10000 20000 50000 100000 125000 250000 500000 800000 1000000]
}
