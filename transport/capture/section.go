package capture

import (
	"encoding/binary"
	"math"
	"time"
)

// byteOrderMagic tells a section's byte order (draft-ietf-opsawg-pcapng,
// section 4.1).
const byteOrderMagic = 0x1A2B3C4D

// The fixed lengths of the two blocks, with their type and both lengths.
const (
	sectionHeaderLength = 28
	interfaceLength     = 20
)

// source is an interface as the current section declares it.
type source struct {
	channel  *channel
	clock    clock
	shortcut bool // a CAN bus whose ticks are nanoseconds
}

// byteOrder learns a section's byte order by its magic.
func (p *pcapng) byteOrder(magic []byte) error {
	switch magic := binary.BigEndian.Uint32(magic); magic {
	case byteOrderMagic:
		p.bigEndian = true
	case 0x4D3C2B1A:
		p.bigEndian = false
	default:
		return p.fail(KindByteOrder, p.at+8, "the byte-order magic is %#08x, expected %#08x or the same bytes backwards", magic, byteOrderMagic)
	}
	return nil
}

// sectionHeader begins a section. Its options and its announced length are not
// needed, so it may have any size.
func (p *pcapng) sectionHeader(length uint32) error {
	if err := p.atLeast(length, sectionHeaderLength, "a section header"); err != nil {
		return err
	}
	if !p.in.need(sectionHeaderLength) {
		return p.ended()
	}
	head := p.in.unread()
	if major, minor := p.u16(head[12:]), p.u16(head[14:]); major != 1 || minor != 0 && minor != 2 {
		return p.fail(KindVersion, p.at+12, "the section is of version %d.%d, expected 1.0 or 1.2", major, minor)
	}
	p.section++
	p.sources = p.sources[:0]
	return p.skipBlock(length)
}

// description declares the section's next interface.
func (p *pcapng) description(length uint32) error {
	if err := p.atLeast(length, interfaceLength, "an interface description"); err != nil {
		return err
	}
	block, err := p.takeBlock(length)
	if err != nil {
		return err
	}
	if len(p.sources) == MaxInterfaces {
		return p.fail(KindInterface, p.at, "one more interface in the section, expected at most %d", MaxInterfaces)
	}
	name, resolution, offset, err := p.describe(block[16 : length-4])
	if err != nil {
		return err
	}
	c, err := p.channelFor(name, LinkType(p.u16(block[8:])))
	if err != nil {
		return err
	}
	c.Resolution = resolution
	ticks := newClock(resolution, offset)
	p.sources = append(p.sources, source{channel: c, clock: ticks, shortcut: c.LinkType == LinkCAN && ticks.plain})
	return nil
}

// describe reads the options of an interface; the offset is in nanoseconds.
func (p *pcapng) describe(options []byte) (name []byte, r Resolution, offset int64, err error) {
	r = Microseconds
	for len(options) > 0 {
		o := p.option(options)
		if o.code() == optionEnd {
			break
		}
		if o.size() > len(options) {
			return nil, 0, 0, p.fail(KindDescription, p.at, "option %d of the interface is longer than its block", o.code())
		}
		value := options[4 : 4+o.length()]
		options = options[o.size():]
		switch {
		case o.code() == optionName:
			name = value
		case o == resolutionOption:
			r = Resolution(value[0])
		case o == timeOffsetOption:
			if offset, err = p.timeOffset(value); err != nil {
				return nil, 0, 0, err
			}
		case o.code() == optionResolution || o.code() == optionTimeOffset:
			return nil, 0, 0, p.fail(KindDescription, p.at, "option %d of the interface has %d bytes, expected 1 for the time resolution (9) and 8 for the time offset (14)", o.code(), len(value))
		}
	}
	return name, r, offset, nil
}

// timeOffset reads a signed number of seconds and gives it in nanoseconds.
func (p *pcapng) timeOffset(value []byte) (int64, error) {
	first, second := uint64(p.u32(value)), uint64(p.u32(value[4:]))
	seconds := int64(second<<32 | first)
	if p.bigEndian {
		seconds = int64(first<<32 | second)
	}
	const limit = math.MaxInt64 / int64(time.Second)
	if seconds > limit || seconds < -limit {
		return 0, p.fail(KindDescription, p.at, "the time offset of the interface is %d s, expected at most 292 years either way", seconds)
	}
	return seconds * int64(time.Second), nil
}
