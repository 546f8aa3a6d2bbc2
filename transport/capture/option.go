package capture

import (
	"encoding/binary"
	"math/bits"
)

// The options of an interface, and the one that ends every list
// (draft-ietf-opsawg-pcapng, sections 3.5 and 4.2).
const (
	optionEnd        = 0
	optionName       = 2
	optionResolution = 9
	optionTimeOffset = 14
)

// The options of a packet (draft-ietf-opsawg-pcapng, section 4.3).
const (
	optionFlags     = 2
	optionDropCount = 4
)

// optionHead is what every option begins with: its code, and above it the length
// of its value.
type optionHead uint32

// The heads of the options that have one length only.
const (
	resolutionOption optionHead = optionResolution | 1<<16
	timeOffsetOption optionHead = optionTimeOffset | 8<<16
	flagsOption      optionHead = optionFlags | 4<<16
	dropCountOption  optionHead = optionDropCount | 8<<16
)

func (o optionHead) code() uint32 { return uint32(o) & 0xFFFF }

func (o optionHead) length() int { return int(o >> 16) }

// size is the option's length with its head and its padding.
func (o optionHead) size() int { return 4 + (o.length()+3)&^3 }

// option reads the head of the first option in a list.
func (p *pcapng) option(list []byte) optionHead {
	word := binary.LittleEndian.Uint32(list)
	if p.bigEndian {
		word = bits.RotateLeft32(bits.ReverseBytes32(word), 16)
	}
	return optionHead(word)
}
