package capture

import (
	"encoding/binary"

	"packlink/transport"
)

// endOption is the length of the end of a list of options.
const endOption = 4

// packetOptions is the most that the options of a written packet take.
const packetOptions = (4 + 4) + (4 + 8) + endOption

// zeros pad a packet.
var zeros [canFDPayload]byte

var le = binary.LittleEndian

// appendSectionHeader appends a section header of version 1.0 and unknown length.
func appendSectionHeader(b []byte) []byte {
	b = le.AppendUint32(b, sectionHeaderBlock)
	b = le.AppendUint32(b, sectionHeaderLength)
	b = le.AppendUint32(b, byteOrderMagic)
	b = le.AppendUint16(b, 1)
	b = le.AppendUint16(b, 0)
	b = le.AppendUint64(b, 0xFFFFFFFFFFFFFFFF)
	return le.AppendUint32(b, sectionHeaderLength)
}

// appendInterface appends the description of a bus: its link type, no limit on
// the packet length, its name, and nanoseconds.
func appendInterface(b []byte, bus Bus) []byte {
	options := appendOption(nil, optionResolution, string([]byte{byte(Nanoseconds)}))
	if bus.Name != "" {
		options = append(appendOption(nil, optionName, bus.Name), options...)
	}
	link := LinkCAN
	if bus.Medium == transport.Serial {
		link = LinkSerial
	}
	length := uint32(interfaceLength + len(options) + endOption)
	b = le.AppendUint32(b, interfaceBlock)
	b = le.AppendUint32(b, length)
	b = le.AppendUint32(b, uint32(link))
	b = le.AppendUint32(b, 0)
	b = append(b, options...)
	b = le.AppendUint32(b, optionEnd)
	return le.AppendUint32(b, length)
}

func appendOption(b []byte, code uint16, value string) []byte {
	b = le.AppendUint16(b, code)
	b = le.AppendUint16(b, uint16(len(value)))
	b = append(b, value...)
	return append(b, zeros[:-len(value)&3]...)
}

// appendPacketHead appends what an enhanced packet block has before its packet,
// whose length it is told.
func appendPacketHead(b []byte, f *transport.Frame, packet int) []byte {
	b = le.AppendUint32(b, enhancedPacketBlock)
	b = le.AppendUint32(b, blockLength(f, packet))
	b = le.AppendUint32(b, uint32(f.Channel))
	b = le.AppendUint32(b, uint32(uint64(f.Time)>>32))
	b = le.AppendUint32(b, uint32(f.Time))
	b = le.AppendUint32(b, uint32(packet))
	return le.AppendUint32(b, uint32(packet))
}

// appendPacketTail appends what stands behind the packet: its padding, the
// options, the length again. A frame does not say what damaged it nor how many
// were lost before it, so the flags say checksum error and the drop count one.
func appendPacketTail(b []byte, f *transport.Frame, packet int) []byte {
	b = append(b, zeros[:-packet&3]...)
	b = le.AppendUint32(b, uint32(flagsOption))
	b = le.AppendUint32(b, packetFlags(f))
	if f.Flags&transport.Lost != 0 {
		b = le.AppendUint32(b, uint32(dropCountOption))
		b = le.AppendUint64(b, 1)
	}
	b = le.AppendUint32(b, optionEnd)
	return le.AppendUint32(b, blockLength(f, packet))
}

func packetFlags(f *transport.Frame) (flags uint32) {
	switch f.Direction {
	case transport.Received:
		flags = flagReceived
	case transport.Sent:
		flags = flagSent
	}
	if f.Flags&transport.Damaged != 0 {
		flags |= flagCRCError
	}
	return flags
}

// blockLength is the length of the packet block around a packet.
func blockLength(f *transport.Frame, packet int) uint32 {
	length := packetLength + (packet+3)&^3 + flagsOption.size() + endOption
	if f.Flags&transport.Lost != 0 {
		length += dropCountOption.size()
	}
	return uint32(length)
}

func canPacketLength(f *transport.Frame) int {
	if f.Flags&transport.FD != 0 {
		return canFDPacket
	}
	return canHeader + len(f.Data)
}
