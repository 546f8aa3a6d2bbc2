package capture

import (
	"bytes"
	"errors"

	"packlink/transport"
)

// The lengths of an id in a text log, in hexadecimal digits.
const (
	standardDigits = 3
	extendedDigits = 8
)

// ParseFrame reads a CAN frame as the can-utils write it: 355#6000, an id of three
// digits or, for an extended one, of eight; 355##06000 for a CAN FD frame, with a
// digit of flags. The error says what is wrong with it.
func ParseFrame(text string) (f transport.Frame, err error) {
	var payload [canFDPayload]byte
	if fault := parseTextFrame([]byte(text), &payload, &f); fault != "" {
		return f, errors.New(fault)
	}
	f.Data = bytes.Clone(f.Data)
	return f, nil
}

// parseTextFrame fills f, but for its time, channel and direction, from a frame as
// the can-utils write it: id#data, id#R, id##<flags>data, with a raw DLC as _9 to
// _F behind eight bytes. The payload takes the data. The fault is empty for a good
// frame; f is untouched by a bad one.
func parseTextFrame(text []byte, payload *[canFDPayload]byte, f *transport.Frame) (fault string) {
	digits, body, found := bytes.Cut(text, []byte{'#'})
	if !found {
		return "expected id#data"
	}
	id, flags, fault := parseTextID(digits)
	if fault != "" {
		return fault
	}
	kind, body, fault := cutKind(body)
	if fault != "" {
		return fault
	}
	data, fault := parseHexData(body, payload)
	if fault != "" {
		return fault
	}
	flags |= kind
	if !isCANFrame(id, flags, len(data)) {
		return canFault(id, flags, len(data))
	}
	f.ID, f.Medium, f.Flags, f.Data = id, transport.CAN, flags, data
	return ""
}

// cutKind tells data, remote and FD frames apart, and leaves the digits of the
// data.
func cutKind(body []byte) (kind transport.Flags, data []byte, fault string) {
	switch {
	case len(body) > 0 && body[0] == '#':
		data, fault = cutFDFlags(body[1:])
		return transport.FD, data, fault
	case len(body) > 0 && body[0] == 'R':
		return transport.Remote, nil, remoteFault(body[1:])
	}
	data, fault = cutRawDLC(body)
	return 0, data, fault
}

// parseTextID reads an id of three digits, or of eight for an extended id or an
// error frame.
func parseTextID(text []byte) (id uint32, flags transport.Flags, fault string) {
	if len(text) != standardDigits && len(text) != extendedDigits {
		return 0, 0, "expected an id of 3 or 8 digits"
	}
	for _, c := range text {
		nibble, good := hexDigit(c)
		if !good {
			return 0, 0, "expected an id in hexadecimal digits"
		}
		id = id<<4 | uint32(nibble)
	}
	switch {
	case len(text) == standardDigits:
		return id, 0, ""
	case id&^canExtendedID == canError:
		return id & canExtendedID, transport.BusError, ""
	}
	return id, transport.Extended, ""
}

// cutFDFlags drops the digit of FD flags: bit rate switch and error state have
// no place in a frame.
func cutFDFlags(body []byte) (data []byte, fault string) {
	if len(body) == 0 {
		return nil, "expected a digit of FD flags behind ##"
	}
	if _, good := hexDigit(body[0]); !good {
		return nil, "expected a digit of FD flags behind ##"
	}
	return body[1:], ""
}

// remoteFault looks at what follows the R: nothing, or the length asked for
// from 0 to 8, then perhaps a raw DLC.
func remoteFault(body []byte) string {
	good := len(body) == 0 ||
		len(body) == 1 && body[0] >= '0' && body[0] <= '8' ||
		len(body) == 3 && body[0] == '8' && isRawDLC(body[1:])
	if !good {
		return "expected R, R0 to R8, or R8_9 to R8_F"
	}
	return ""
}

// cutRawDLC drops a raw DLC, which may stand behind eight bytes only.
func cutRawDLC(body []byte) (data []byte, fault string) {
	mark := bytes.IndexByte(body, '_')
	if mark < 0 {
		return body, ""
	}
	if mark != 2*canPayload || !isRawDLC(body[mark:]) {
		return nil, "expected _9 to _F behind eight bytes"
	}
	return body[:mark], ""
}

// isRawDLC knows _9 to _F.
func isRawDLC(text []byte) bool {
	if len(text) != 2 || text[0] != '_' {
		return false
	}
	value, good := hexDigit(text[1])
	return good && value > canPayload
}

// parseHexData reads pairs of hexadecimal digits into the payload.
func parseHexData(text []byte, payload *[canFDPayload]byte) (data []byte, fault string) {
	if len(text)%2 != 0 || len(text) > 2*canFDPayload {
		return nil, "expected the data in pairs of hexadecimal digits, at most 64"
	}
	for i := 0; i < len(text); i += 2 {
		high, good := hexDigit(text[i])
		low, goodLow := hexDigit(text[i+1])
		if !good || !goodLow {
			return nil, "expected the data in hexadecimal digits"
		}
		payload[i/2] = high<<4 | low
	}
	return payload[:len(text)/2], ""
}

func hexDigit(c byte) (value byte, good bool) {
	switch {
	case isDigit(c):
		return c - '0', true
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10, true
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10, true
	}
	return 0, false
}
