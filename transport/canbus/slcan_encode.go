package canbus

import "packlink/transport"

// hexDigits are the digits of a line to an adapter.
const hexDigits = "0123456789ABCDEF"

// appendLine appends f as a line to an adapter. f has passed checkSendable and is
// no CAN FD frame.
func appendLine(b []byte, f *transport.Frame) []byte {
	letter, digits := byte('t'), 3
	if f.Flags&transport.Remote != 0 {
		letter = 'r'
	}
	if f.Flags&transport.Extended != 0 {
		letter, digits = letter&^0x20, 8
	}
	b = append(b, letter)
	for shift := 4 * (digits - 1); shift >= 0; shift -= 4 {
		b = append(b, hexDigits[f.ID>>shift&0xF])
	}
	b = append(b, '0'+byte(len(f.Data)))
	for _, value := range f.Data {
		b = append(b, hexDigits[value>>4], hexDigits[value&0xF])
	}
	return append(b, lineEnd)
}
