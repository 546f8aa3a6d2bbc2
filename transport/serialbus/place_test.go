package serialbus

import (
	"errors"
	"strings"
	"testing"
	"time"

	"go.bug.st/serial"
)

func TestPlaceIsRead(t *testing.T) {
	for text, want := range map[string]struct {
		mode serial.Mode
		bits int
	}{
		"serial:/dev/ttyUSB0":                        {serial.Mode{BaudRate: 9600, DataBits: 8}, 10},
		"serial:/dev/ttyUSB0?baud=115200":            {serial.Mode{BaudRate: 115200, DataBits: 8}, 10},
		"serial:COM3?baud=19200&frame=8E1":           {serial.Mode{BaudRate: 19200, DataBits: 8, Parity: serial.EvenParity}, 11},
		"serial:/dev/ttyS1?frame=7O2":                {serial.Mode{BaudRate: 9600, DataBits: 7, Parity: serial.OddParity, StopBits: serial.TwoStopBits}, 11},
		"serial:/dev/ttyS1?frame=5N2&baud=50":        {serial.Mode{BaudRate: 50, DataBits: 5, StopBits: serial.TwoStopBits}, 8},
		"tcp:192.0.2.7:4001":                         {serial.Mode{BaudRate: 9600, DataBits: 8}, 10},
		"tcp:[2001:db8::7]:4001":                     {serial.Mode{BaudRate: 9600, DataBits: 8}, 10},
		"serial:/dev/serial/by-id/usb-x-if00-port0":  {serial.Mode{BaudRate: 9600, DataBits: 8}, 10},
		"serial:/dev/ttyUSB0?baud=250000&frame=8N1":  {serial.Mode{BaudRate: 250000, DataBits: 8}, 10},
		"serial:/dev/ttyUSB0?baud=4000000&frame=6E2": {serial.Mode{BaudRate: 4000000, DataBits: 6, Parity: serial.EvenParity, StopBits: serial.TwoStopBits}, 10},
	} {
		p, err := readPlace(endpoint(t, text), false)
		if err != nil || p.mode != want.mode || p.charBits != want.bits {
			t.Errorf("%s: got %+v, %v; want %+v", text, p, err, want)
		}
	}
}

// badEndpoints are endpoints that cannot be listened to or polled, with a part of the reason.
var badEndpoints = map[string]string{
	"serial:":                              "address is missing",
	"serial:/dev/x?baud=":                  "baud is \"\"",
	"serial:/dev/x?baud=0":                 "baud",
	"serial:/dev/x?baud=-9600":             "baud",
	"serial:/dev/x?baud=9600.5":            "baud",
	"serial:/dev/x?baud=99999999999999999": "baud",
	"serial:/dev/x?frame=8N":               "frame is \"8N\"",
	"serial:/dev/x?frame=8N3":              "stop bits",
	"serial:/dev/x?frame=9N1":              "data bits",
	"serial:/dev/x?frame=4N1":              "data bits",
	"serial:/dev/x?frame=8M1":              "parity",
	"serial:/dev/x?frame=8n1":              "parity",
	"serial:/dev/x?frame=":                 "frame",
	"serial:/dev/x?parity=even":            `no option "parity"`,
	"serial:/dev/x?ca=x":                   `no option "ca"`,
	"tcp:":                                 "address is missing",
	"tcp:192.0.2.7":                        "host:port",
	"tcp::4001":                            "host:port",
	"tcp:192.0.2.7:":                       "host:port",
	"can:can0":                             "write serial:",
	"bench.pcapng":                         "write serial:",
}

func TestPlaceIsRefused(t *testing.T) {
	for text, says := range badEndpoints {
		for _, polls := range []bool{false, true} {
			_, err := readPlace(endpoint(t, text), polls)
			checkRefusal(t, text, err, says)
		}
	}
	for text, says := range map[string]string{
		"modbus-tcp:192.0.2.7:502":         "no line of bytes",
		"tcp:192.0.2.7:4001?baud=9600":     "takes no options",
		"serial:/dev/x?timeout=120ms":      `no option "timeout"`,
		"modbus-tls:192.0.2.7:802?ca=x.pm": "no line of bytes",
	} {
		_, err := readPlace(endpoint(t, text), false)
		checkRefusal(t, text, err, says)
	}
}

func checkRefusal(t *testing.T, text string, err error, says string) {
	t.Helper()
	var fault *Error
	if !errors.As(err, &fault) || fault.Kind != KindEndpoint || !strings.Contains(err.Error(), says) {
		t.Errorf("%s: got %v, want an error that says %q", text, err, says)
	}
}

func TestPolicyIsRead(t *testing.T) {
	plan := Plan{Timeout: 120 * time.Millisecond, MaxRegisters: 40}
	for text, want := range map[string]policy{
		"serial:/dev/x":                                        {120 * time.Millisecond, 4010416, 2, 40},
		"serial:/dev/x?timeout=2s&retries=0":                   {2 * time.Second, 4010416, 0, 40},
		"serial:/dev/x?quiet=30ms&registers=20":                {120 * time.Millisecond, 30 * time.Millisecond, 2, 20},
		"serial:/dev/x?quiet=1us":                              {120 * time.Millisecond, 4010416, 2, 40},
		"serial:/dev/x?quiet=-1s":                              {120 * time.Millisecond, 4010416, 2, 40},
		"tcp:192.0.2.7:4001?baud=115200":                       {120 * time.Millisecond, 1750 * time.Microsecond, 2, 40},
		"modbus-tcp:192.0.2.7:502?timeout=1m&registers=125":    {time.Minute, 0, 2, 125},
		"modbus-tls:pack.example:802?retries=10&timeout=1ms":   {time.Millisecond, 0, 10, 40},
		"serial:/dev/x?baud=1200&frame=8E1":                    {120 * time.Millisecond, 32083333, 2, 40},
		"tcp:192.0.2.7:4001?frame=8E1&registers=1&quiet=100ms": {120 * time.Millisecond, 100 * time.Millisecond, 2, 1},
	} {
		p, err := readPlace(endpoint(t, text), true)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if got, err := readPolicy(p, &plan); err != nil || got != want {
			t.Errorf("%s: got %+v, %v; want %+v", text, got, err, want)
		}
	}
}

func TestPolicyIsRefused(t *testing.T) {
	for text, says := range map[string]string{
		"serial:/dev/x?timeout=120":                 "expected a time",
		"serial:/dev/x?timeout=0s":                  "expected 1ms",
		"serial:/dev/x?timeout=2h":                  "expected 1ms to 1m0s",
		"serial:/dev/x?quiet=soon":                  "expected a time",
		"serial:/dev/x?quiet=2h":                    "at most 1m0s",
		"serial:/dev/x?retries=-1":                  "0 to 10",
		"serial:/dev/x?retries=11":                  "0 to 10",
		"serial:/dev/x?retries=two":                 "expected a number",
		"serial:/dev/x?registers=0":                 "1 to 125",
		"serial:/dev/x?registers=126":               "1 to 125",
		"modbus-tcp:192.0.2.7:502?registers=1.5":    "expected a number",
		"modbus-tcp:192.0.2.7:502?registers=999999": "1 to 125",
	} {
		p, err := readPlace(endpoint(t, text), true)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		_, err = readPolicy(p, &Plan{})
		checkRefusal(t, text, err, says)
	}
}

// TestQuietTime has the figures of MODBUS over Serial Line V1.02, section 2.5.1.1:
// 3.5 characters of 11 bits up to 19200 bit/s, above it 1.750 ms.
func TestQuietTime(t *testing.T) {
	for text, want := range map[string]time.Duration{
		"serial:/dev/x?frame=8E1&baud=1200":   32083333,
		"serial:/dev/x?frame=8E1&baud=2400":   16041666,
		"serial:/dev/x?frame=8E1&baud=4800":   8020833,
		"serial:/dev/x?frame=8E1&baud=9600":   4010416,
		"serial:/dev/x?frame=8N2&baud=19200":  2005208,
		"serial:/dev/x?frame=8E1&baud=38400":  1750000,
		"serial:/dev/x?frame=8E1&baud=115200": 1750000,
	} {
		p, err := readPlace(endpoint(t, text), false)
		if err != nil {
			t.Fatal(err)
		}
		if got := p.silence(); got < want || got > want+1 {
			t.Errorf("%s: got %d ns, want %d ns", text, got, want)
		}
	}
}

func TestPlanIsRefused(t *testing.T) {
	good := Block{Function: 3, Count: 10, Every: time.Second}
	one := []byte{1}
	for says, c := range map[string]struct {
		at   string
		plan Plan
	}{
		"0 units":                   {"serial:/dev/x", Plan{Blocks: []Block{good}}},
		"0 blocks":                  {"serial:/dev/x", Plan{Units: one}},
		"unit 0 cannot be asked":    {"serial:/dev/x", Plan{Units: []byte{0}, Blocks: []Block{good}}},
		"unit 248 cannot":           {"tcp:192.0.2.7:4001", Plan{Units: []byte{248}, Blocks: []Block{good}}},
		"unit 7 is in the plan":     {"serial:/dev/x", Plan{Units: []byte{7, 7}, Blocks: []Block{good}}},
		"function 6":                {"serial:/dev/x", Plan{Units: one, Blocks: []Block{{Function: 6, Count: 1, Every: 1}}}},
		"function 0":                {"serial:/dev/x", Plan{Units: one, Blocks: []Block{{Count: 1, Every: 1}}}},
		"0 registers from 0":        {"serial:/dev/x", Plan{Units: one, Blocks: []Block{{Function: 3, Every: 1}}}},
		"-1 registers":              {"serial:/dev/x", Plan{Units: one, Blocks: []Block{{Function: 3, Count: -1, Every: 1}}}},
		"2 registers from 65535":    {"serial:/dev/x", Plan{Units: one, Blocks: []Block{{Function: 3, From: 65535, Count: 2, Every: 1}}}},
		"no period":                 {"serial:/dev/x", Plan{Units: one, Blocks: []Block{{Function: 3, Count: 1}}}},
		"the time-out is -1s":       {"serial:/dev/x", Plan{Units: one, Blocks: []Block{good}, Timeout: -time.Second}},
		"at most 200 registers":     {"serial:/dev/x", Plan{Units: one, Blocks: []Block{good}, MaxRegisters: 200}},
		"takes baud, frame":         {"serial:/dev/x?cert=a", Plan{Units: one, Blocks: []Block{good}}},
		"belong together":           {"modbus-tls:192.0.2.7:802?cert=a", Plan{Units: one, Blocks: []Block{good}}},
		"no registers to ask for":   {"can:can0", Plan{Units: one, Blocks: []Block{good}}},
		"unit 255 is in the plan":   {"modbus-tcp:192.0.2.7:502", Plan{Units: []byte{255, 0, 255}, Blocks: []Block{good}}},
		"the address must be host:": {"modbus-tcp:192.0.2.7", Plan{Units: one, Blocks: []Block{good}}},
	} {
		_, err := TransmitPolls(background(t), endpoint(t, c.at), c.plan, nil)
		checkRefusal(t, c.at, err, says)
	}
}
