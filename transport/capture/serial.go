package capture

import (
	"encoding/binary"
	"fmt"

	"packlink/transport"
)

// serialHeader is the header of link type 250, LINKTYPE_RTAC_SERIAL: seconds
// and microseconds big-endian, the event, the control lines, and two bytes
// behind them.
const serialHeader = 12

// The events that are written.
const (
	eventTransmit = 0x01
	eventReceive  = 0x02
)

// serialEvents says what the events of link type 250 mean for a frame. An event
// that is not here says nothing.
var serialEvents = [256]struct {
	direction transport.Direction
	flags     transport.Flags
}{
	eventTransmit: {direction: transport.Sent},
	eventReceive:  {direction: transport.Received},
	0x03:          {direction: transport.Sent},     // the transmission ended
	0x04:          {direction: transport.Received}, // the reception ended
	0x05:          {flags: transport.Lost},         // the recorder lost data
	0x07:          {flags: transport.Damaged},      // framing error
	0x08:          {flags: transport.Damaged},      // parity error
	0x09:          {flags: transport.Damaged},      // break
	0x0A:          {flags: transport.Lost},         // overflow
}

// parseSerial fills f, but for its time and channel, from a packet of link type
// 250. It is false, and f is untouched, for an event that has no bytes and reports
// no error, unless the packet's notes report one. The fault is empty for a good
// packet; f is untouched by a bad one.
func parseSerial(p []byte, notes packetNotes, f *transport.Frame) (got bool, fault string) {
	if len(p) < serialHeader {
		return false, fmt.Sprintf("a serial packet of %d bytes, expected at least %d", len(p), serialHeader)
	}
	event := &serialEvents[p[8]]
	if len(p) == serialHeader && event.flags == 0 && !notes.reportError() {
		return false, ""
	}
	f.ID, f.Medium, f.Direction, f.Flags = 0, transport.Serial, event.direction, event.flags
	f.Data = p[serialHeader:len(p):len(p)]
	return true, ""
}

// appendSerialHeader appends the header of a serial frame. A frame of unknown
// direction counts as heard; the packet's flags say that it is unknown.
func appendSerialHeader(b []byte, f *transport.Frame) []byte {
	event := byte(eventReceive)
	if f.Direction == transport.Sent {
		event = eventTransmit
	}
	b = binary.BigEndian.AppendUint32(b, uint32(f.Time/1e9))
	b = binary.BigEndian.AppendUint32(b, uint32(f.Time%1e9/1e3))
	return append(b, event, 0, 0, 0)
}
