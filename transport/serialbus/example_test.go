package serialbus_test

import (
	"context"
	"errors"
	"fmt"

	"packlink/transport"
	"packlink/transport/serialbus"
)

// An error says what would help.
func ExampleListen() {
	e, _ := transport.ParseEndpoint("serial:/dev/serial/by-id/none?baud=9600&frame=8N1")
	_, err := serialbus.Listen(context.Background(), e, nil)
	var fault *serialbus.Error
	if errors.As(err, &fault) {
		fmt.Println(fault)
		fmt.Println("try:", fault.Try)
	}
	// Output:
	// serial:/dev/serial/by-id/none?baud=9600&frame=8N1: there is no port /dev/serial/by-id/none
	// try: packlink adapters
}
