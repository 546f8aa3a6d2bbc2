package capture

import (
	"encoding/binary"
	"math"

	"packlink/transport"
)

// The parts of a block that the shortcut takes: at most sixteen bytes of packet,
// and no options or the flags alone.
const (
	shortcutOptions = 12
	shortcutLongest = packetLength + canHeader + canPayload + shortcutOptions
)

// shortcut reads the packet that most captures are made of, in one go: in a
// little-endian section and whole in memory, a classical CAN data frame of an
// interface that counts nanoseconds, with no option but flags that tell of no
// error. It is false for any other, of which it has taken nothing.
func (p *pcapng) shortcut(f *transport.Frame) bool {
	rest := p.in.buf[p.in.start:p.in.end]
	if len(rest) < shortcutLongest || p.bigEndian {
		return false
	}
	block := (*[shortcutLongest]byte)(rest)
	length, number := binary.LittleEndian.Uint32(block[4:]), binary.LittleEndian.Uint32(block[8:])
	captured := binary.LittleEndian.Uint32(block[20:])
	options := packetHeader + (captured+3)&^3
	if binary.LittleEndian.Uint32(block[:]) != enhancedPacketBlock || number >= uint32(len(p.sources)) ||
		captured < canHeader || captured > canHeader+canPayload || length != options+4 && length != options+4+shortcutOptions ||
		binary.LittleEndian.Uint32(rest[length-4:]) != length {
		return false
	}
	s := &p.sources[number]
	ticks := uint64(binary.LittleEndian.Uint32(block[12:]))<<32 | uint64(binary.LittleEndian.Uint32(block[16:]))
	word, size := binary.BigEndian.Uint32(block[packetHeader:]), uint32(block[packetHeader+4])
	flags, limit := transport.Flags(0), uint32(canStandardID)
	if word&canExtended != 0 {
		flags, limit = transport.Extended, canExtendedID
	}
	if !s.shortcut || ticks > math.MaxInt64 || size > captured-canHeader || block[packetHeader+5]&canFDF != 0 || word&^canExtended > limit {
		return false
	}
	direction := transport.DirectionUnknown
	if length != options+4 {
		notes := binary.LittleEndian.Uint32(rest[options+4:])
		if binary.LittleEndian.Uint32(rest[options:]) != uint32(flagsOption) || binary.LittleEndian.Uint32(rest[options+8:]) != optionEnd || notes&flagErrors != 0 {
			return false
		}
		direction = directions[notes&flagDirection]
	}
	p.in.start += int(length)
	s.channel.Frames++
	f.Time, f.Channel, f.ID, f.Medium = int64(ticks), s.channel.number, word&^canExtended, transport.CAN
	f.Direction, f.Flags = direction, flags
	f.Data = rest[packetHeader+canHeader:][:size:size]
	return true
}
