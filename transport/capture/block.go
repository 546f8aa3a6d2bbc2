package capture

import (
	"encoding/binary"
	"math/bits"

	"packlink/transport"
)

// The block types of draft-ietf-opsawg-pcapng, section 4, and its appendix for
// the obsolete packet block.
const (
	sectionHeaderBlock  = 0x0A0D0D0A
	interfaceBlock      = 1
	obsoletePacketBlock = 2
	simplePacketBlock   = 3
	enhancedPacketBlock = 6
)

// blockFrame is the least a block has: its type and its length, twice.
const blockFrame = 12

// pcapng walks the blocks of a pcapng file.
type pcapng struct {
	stream
	bigEndian bool     // the byte order of the section
	sources   []source // the interfaces of the section
}

func (p *pcapng) receive(f *transport.Frame) error {
	if p.shortcut(f) {
		return nil
	}
	return p.walk(f)
}

// walk goes on until a block holds a frame.
func (p *pcapng) walk(f *transport.Frame) error {
	for {
		kind, length, err := p.blockHead()
		if err != nil {
			return err
		}
		got := false
		switch kind {
		case enhancedPacketBlock, obsoletePacketBlock:
			got, err = p.packet(f, kind, length)
		case simplePacketBlock:
			err = p.simplePacket(length)
		case interfaceBlock:
			err = p.description(length)
		case sectionHeaderBlock:
			err = p.sectionHeader(length)
		default:
			err = p.skipBlock(length)
		}
		if got || err != nil {
			return err
		}
	}
}

// blockHead looks at the type and the length of the block that begins here.
func (p *pcapng) blockHead() (kind, length uint32, err error) {
	p.at = p.in.offset()
	if !p.in.need(blockFrame) {
		return 0, 0, p.ended()
	}
	head := (*[blockFrame]byte)(p.in.unread())
	kind = p.u32(head[:])
	if kind == sectionHeaderBlock {
		if err := p.byteOrder(head[8:]); err != nil {
			return 0, 0, err
		}
	}
	length = p.u32(head[4:])
	if length < blockFrame || length%4 != 0 {
		return 0, 0, p.fail(KindBlockLength, p.at+4, "a block of type %#x has length %d, expected a multiple of 4 of at least %d", kind, length, blockFrame)
	}
	return kind, length, nil
}

// takeBlock gets the whole block that begins here into memory and steps over it.
func (p *pcapng) takeBlock(length uint32) ([]byte, error) {
	if length > MaxBlock {
		return nil, p.oversize(length)
	}
	if !p.in.need(int(length)) {
		return nil, p.ended()
	}
	start := p.in.start
	block := p.in.buf[start : start+int(length)]
	if trailing := p.u32(block[length-4:]); trailing != length {
		return nil, p.badTrailing(length, trailing)
	}
	p.in.start = start + int(length)
	return block, nil
}

// skipBlock steps over a block of any size without keeping it.
func (p *pcapng) skipBlock(length uint32) error {
	if !p.in.skip(int64(length)-4) || !p.in.need(4) {
		return p.ended()
	}
	if trailing := p.u32(p.in.unread()); trailing != length {
		return p.badTrailing(length, trailing)
	}
	p.in.start += 4
	return nil
}

func (p *pcapng) oversize(length uint32) error {
	return p.fail(KindOversize, p.at+4, "a block of %d bytes, expected at most %d", length, MaxBlock)
}

func (p *pcapng) badTrailing(length, trailing uint32) error {
	return p.fail(KindTrailingLength, p.at+int64(length)-4, "the length at the end of the block from byte %d is %d, expected %d as at its start", p.at, trailing, length)
}

// atLeast refuses a block that is shorter than the fixed part of its type.
func (p *pcapng) atLeast(length, least uint32, what string) error {
	if length >= least {
		return nil
	}
	return p.fail(KindBlockLength, p.at+4, "%s has length %d, expected at least %d", what, length, least)
}

// u32 reads a number in the section's byte order.
func (p *pcapng) u32(b []byte) uint32 {
	v := binary.LittleEndian.Uint32(b)
	if p.bigEndian {
		v = bits.ReverseBytes32(v)
	}
	return v
}

// firstHalf is the 16-bit number that the first two of four bytes hold.
func (p *pcapng) firstHalf(word uint32) uint32 {
	if p.bigEndian {
		return word >> 16
	}
	return word & 0xFFFF
}

// u16 reads a number in the section's byte order.
func (p *pcapng) u16(b []byte) uint16 {
	v := binary.LittleEndian.Uint16(b)
	if p.bigEndian {
		v = bits.ReverseBytes16(v)
	}
	return v
}
