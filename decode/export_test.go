package decode

import (
	"packlink/decode/pack"
	"packlink/mapping"
)

// Payload is the first payload of a message that says what the status knows.
func Payload(p *mapping.Program, s *pack.Status) ([]byte, error) {
	return newWriting(p, s, nil, rolled(p, 0)).payload(p, p.MaxBytes, nil)
}
