package canbus

import (
	"fmt"
	"strconv"

	"packlink/transport"
)

// settings are what a serial-line CAN endpoint asks for.
type settings struct {
	path    string
	bitRate int  // bit/s
	baud    int  // of the serial line; adapters on USB do not care
	flags   bool // to read, and so reset, the adapter's status flags first
	normal  bool // to take part on the bus: acknowledge, and be able to send
}

// adapterRates are the bit rates of the commands S0 to S8, in bit/s.
var adapterRates = [...]int{10_000, 20_000, 50_000, 100_000, 125_000, 250_000, 500_000, 800_000, 1_000_000}

const usualBaud = 115200

// readSettings reads an endpoint such as slcan:/dev/ttyACM0?bitrate=500000. One
// that is opened for sending takes part on the bus in any case.
func readSettings(e transport.Endpoint, sending bool) (settings, error) {
	s := settings{path: e.Address, baud: usualBaud, normal: sending}
	if err := e.Allow("bitrate", "baud", "flags"); err != nil {
		return settings{}, err
	}
	if s.path == "" {
		return settings{}, fmt.Errorf("endpoint %q: no serial port is named, expected one as in slcan:/dev/ttyACM0?bitrate=500000", e)
	}
	if e.Options["bitrate"] == "" {
		return settings{}, fmt.Errorf("endpoint %q: bitrate is \"\": say the bit rate of the bus, as in slcan:%s?bitrate=500000; it is one of %v", e, e.Address, adapterRates)
	}
	var err error
	if s.bitRate, err = strconv.Atoi(e.Options["bitrate"]); err != nil || rateCommand(s.bitRate) == "" {
		return settings{}, fmt.Errorf("endpoint %q: bitrate is %q, expected one of %v", e, e.Options["bitrate"], adapterRates)
	}
	if text, given := e.Options["baud"]; given {
		if s.baud, err = strconv.Atoi(text); err != nil || s.baud <= 0 {
			return settings{}, fmt.Errorf("endpoint %q: baud is %q, expected a number such as %d", e, text, usualBaud)
		}
	}
	switch e.Options["flags"] {
	case "", "false":
	case "true":
		s.flags = true
	default:
		return settings{}, fmt.Errorf("endpoint %q: flags is %q, expected true or false", e, e.Options["flags"])
	}
	return s, nil
}

// rateCommand is the command that sets a bit rate; empty if none does.
func rateCommand(bitRate int) string {
	for i, rate := range adapterRates {
		if rate == bitRate {
			return "S" + strconv.Itoa(i)
		}
	}
	return ""
}

// openCommand is the command that opens the channel: O takes part on the bus, L
// only listens.
func (s settings) openCommand() string {
	if s.normal {
		return "O"
	}
	return "L"
}
