package capture

import "packlink/transport"

// The bits of the option epb_flags: the direction, and the link layer's errors,
// of which 24 is a wrong checksum (draft-ietf-opsawg-pcapng, section 4.3.1; the
// range of the error bits is from memory).
const (
	flagDirection = 0x00000003
	flagReceived  = 0x00000001
	flagSent      = 0x00000002
	flagErrors    = 0xFFFF0000
	flagCRCError  = 0x01000000
)

// directions are the meanings of the direction bits.
var directions = [flagDirection + 1]transport.Direction{flagReceived: transport.Received, flagSent: transport.Sent}

// packetNotes are what the options of a packet say: the bits of its flags, and
// above them whether it has flags and whether packets were lost before it.
type packetNotes uint64

const (
	noteFlagged packetNotes = 1 << 32
	noteDropped packetNotes = 1 << 33
)

// notes reads the options of a packet.
func (p *pcapng) notes(options []byte) (n packetNotes, err error) {
	for len(options) > 0 {
		o := p.option(options)
		if o.code() == optionEnd {
			break
		}
		if o.size() > len(options) {
			return 0, p.fail(KindOption, p.at, "option %d of the packet is longer than its block", o.code())
		}
		switch {
		case o == flagsOption:
			n |= packetNotes(p.u32(options[4:])) | noteFlagged
		case o == dropCountOption:
			if p.u32(options[4:])|p.u32(options[8:]) != 0 {
				n |= noteDropped
			}
		case o.code() == optionFlags || o.code() == optionDropCount:
			return 0, p.fail(KindOption, p.at, "option %d of the packet has %d bytes, expected 4 for the flags (2) and 8 for the drop count (4)", o.code(), o.length())
		}
		options = options[o.size():]
	}
	return n, nil
}

// reportError tells whether the frame is damaged, or others were lost before it.
func (n packetNotes) reportError() bool { return n&(flagErrors|noteDropped) != 0 }

// apply adds the notes to a frame. Flags that are present outweigh the direction
// of a serial event, also when they say that it is not known.
func (n packetNotes) apply(f *transport.Frame) {
	if n&noteFlagged != 0 {
		f.Direction = directions[n&flagDirection]
	}
	if n&flagErrors != 0 {
		f.Flags |= transport.Damaged
	}
	if n&noteDropped != 0 {
		f.Flags |= transport.Lost
	}
}
