package serialbus

import (
	"context"
	"net"
	"slices"
	"strconv"
	"time"

	"go.bug.st/serial"

	"packlink/transport"
)

// The speed and frame of a line if the endpoint does not give them.
const (
	DefaultBaud  = 9600
	DefaultFrame = "8N1"
)

// place is an endpoint that has been read.
type place struct {
	endpoint transport.Endpoint
	mode     serial.Mode
	baud     int
	charBits int // bits of a character on the wire, start and stop included
}

// schemes are the ways to a line, and the options of each.
var schemes = map[string]struct {
	options []string // for every use
	polling []string // besides, to poll
	host    bool     // the address is host:port
	framed  bool     // requests travel in Modbus/TCP frames, so it can only be polled
}{
	"serial":     {options: []string{"baud", "frame"}, polling: []string{"timeout", "quiet", "retries", "registers"}},
	"tcp":        {polling: []string{"baud", "frame", "timeout", "quiet", "retries", "registers"}, host: true},
	"modbus-tcp": {polling: []string{"timeout", "retries", "registers"}, host: true, framed: true},
	"modbus-tls": {polling: []string{"timeout", "retries", "registers", "ca", "cert", "key"}, host: true, framed: true},
}

// readPlace reads an endpoint for bytes, or for polls.
func readPlace(e transport.Endpoint, polls bool) (*place, error) {
	scheme, known := schemes[e.Scheme]
	if !known || scheme.framed && !polls {
		if polls {
			return nil, endpointError(e, "there are no registers to ask for: write serial:, tcp:, modbus-tcp: or modbus-tls:")
		}
		return nil, endpointError(e, "this is no line of bytes: write serial:/dev/ttyUSB0?baud=9600&frame=8N1 or tcp:192.0.2.7:4001")
	}
	options := scheme.options
	if polls {
		options = slices.Concat(options, scheme.polling)
	}
	if err := e.Allow(options...); err != nil {
		return nil, &Error{Endpoint: e.String(), Kind: KindEndpoint, Detail: err.Error()}
	}
	if err := checkAddress(e, scheme.host); err != nil {
		return nil, err
	}
	return readMode(e)
}

// answerOptions are the options of an endpoint to answer at. The unit is for whoever
// knows what is shown there.
var answerOptions = []string{"baud", "frame", "unit"}

// readAnsweringPlace reads an endpoint to answer requests at.
func readAnsweringPlace(e transport.Endpoint) (*place, error) {
	if e.Scheme != "modbus-rtu" {
		return nil, endpointError(e, "nobody can be answered here: write modbus-rtu:/dev/ttyUSB0?baud=9600&frame=8N1")
	}
	if err := e.Allow(answerOptions...); err != nil {
		return nil, &Error{Endpoint: e.String(), Kind: KindEndpoint, Detail: err.Error()}
	}
	if err := checkAddress(e, false); err != nil {
		return nil, err
	}
	return readMode(e)
}

func checkAddress(e transport.Endpoint, host bool) error {
	if e.Address == "" {
		fault := endpointError(e, "the address is missing")
		fault.Try = "packlink adapters"
		return fault
	}
	if !host {
		return nil
	}
	name, port, err := net.SplitHostPort(e.Address)
	if err != nil || name == "" || port == "" {
		return endpointError(e, "the address must be host:port, as in 192.0.2.7:502")
	}
	return nil
}

// readMode reads the speed and the frame.
func readMode(e transport.Endpoint) (*place, error) {
	p := &place{endpoint: e, baud: DefaultBaud}
	if text, given := e.Options["baud"]; given {
		baud, err := strconv.Atoi(text)
		if err != nil || baud < 50 || baud > 4_000_000 {
			return nil, endpointError(e, "baud is %q, expected bits per second from 50 to 4000000, such as 9600", text)
		}
		p.baud = baud
	}
	frame, given := e.Options["frame"]
	if !given {
		frame = DefaultFrame
	}
	if len(frame) != 3 || !p.readFrame(frame[0], frame[1], frame[2]) {
		return nil, endpointError(e, "frame is %q, expected data bits 5 to 8, parity N, E or O, and stop bits 1 or 2, such as 8N1", frame)
	}
	return p, nil
}

// readFrame reads data bits, parity and stop bits.
func (p *place) readFrame(data, parity, stop byte) bool {
	parities := map[byte]serial.Parity{'N': serial.NoParity, 'E': serial.EvenParity, 'O': serial.OddParity}
	stops := map[byte]serial.StopBits{'1': serial.OneStopBit, '2': serial.TwoStopBits}
	kind, isParity := parities[parity]
	end, isStop := stops[stop]
	if data < '5' || data > '8' || !isParity || !isStop {
		return false
	}
	p.mode = serial.Mode{BaudRate: p.baud, DataBits: int(data - '0'), Parity: kind, StopBits: end}
	p.charBits = 1 + p.mode.DataBits + int(stop-'0')
	if kind != serial.NoParity {
		p.charBits++
	}
	return true
}

// open opens the line for bytes.
func (p *place) open(ctx context.Context) (link, error) {
	if !schemes[p.endpoint.Scheme].host {
		return openPort(p.endpoint, &p.mode)
	}
	conn, err := dial(ctx, p.endpoint, nil)
	if err != nil {
		return nil, err
	}
	return conn, nil
}

// transmission is how long a number of characters takes on the wire.
func (p *place) transmission(characters int) time.Duration {
	return time.Duration(characters*p.charBits) * time.Second / time.Duration(p.baud)
}

// silence is the time between two frames: 3.5 characters of 11 bits, and 1.75 ms
// above 19200 bit/s (MODBUS over Serial Line V1.02, section 2.5.1.1).
func (p *place) silence() time.Duration {
	if p.baud > 19200 {
		return 1750 * time.Microsecond
	}
	return 77 * time.Second / time.Duration(2*p.baud)
}
