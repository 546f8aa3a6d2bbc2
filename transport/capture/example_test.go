package capture_test

import (
	"bytes"
	"fmt"
	"io"
	"log"

	"packlink/transport"
	"packlink/transport/capture"
)

func Example() {
	var file bytes.Buffer
	w, err := capture.NewWriter(&file, capture.Bus{Name: "can0", Medium: transport.CAN})
	if err != nil {
		log.Fatal(err)
	}
	frame := transport.Frame{Time: 1780000000100000000, ID: 0x355, Medium: transport.CAN, Data: []byte{0x60, 0, 0x63, 0}}
	if err := w.Send(&frame); err != nil {
		log.Fatal(err)
	}
	if err := w.Close(); err != nil {
		log.Fatal(err)
	}

	r, err := capture.NewReader(&file, "bench.pcapng")
	if err != nil {
		log.Fatal(err)
	}
	for err = r.Receive(&frame); err == nil; err = r.Receive(&frame) {
		fmt.Printf("%s %03X % X\n", r.Interfaces()[frame.Channel].Name, frame.ID, frame.Data)
	}
	fmt.Println(err == io.EOF)
	// Output:
	// can0 355 60 00 63 00
	// true
}
