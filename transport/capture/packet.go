package capture

import "packlink/transport"

// packetLength is what a packet block has around its data: type, interface,
// time stamp and lengths.
const (
	packetHeader = 28
	packetLength = packetHeader + 4
)

// packet reads an enhanced packet block, or an obsolete packet block, which
// differs in the interface number only. It is false for one that gives no frame.
// It is one function since every frame of a capture comes this way, and split in
// two it takes a tenth longer.
func (p *pcapng) packet(f *transport.Frame, kind, length uint32) (bool, error) {
	if length > MaxBlock || length < packetLength {
		return false, p.unusualPacket(kind, length)
	}
	block, err := p.takeBlock(length)
	if err != nil {
		return false, err
	}
	head := (*[packetHeader]byte)(block)
	number, captured := p.interfaceNumber(p.u32(head[8:]), kind), p.u32(head[20:])
	if number >= uint32(len(p.sources)) || captured > length-packetLength {
		return false, p.badPacketHead(number, captured, length)
	}
	s := &p.sources[number]
	if !s.channel.isRead() {
		s.channel.Skipped++
		return false, nil
	}
	notes, err := p.notes(block[packetHeader+(captured+3)&^3 : length-4])
	if err != nil {
		s.channel.Skipped++
		return false, err
	}
	ticks := uint64(p.u32(head[12:]))<<32 | uint64(p.u32(head[16:]))
	t, fits := s.clock.nanoseconds(ticks)
	if !fits {
		s.channel.Skipped++
		return false, p.fail(KindTime, p.at+12, "the time stamp is %d ticks of %s, expected a time in the years 1678 to 2262", ticks, s.channel.Resolution)
	}
	payload := block[packetHeader : packetHeader+captured]
	got, fault := true, ""
	if s.channel.LinkType == LinkCAN {
		fault = parseCAN(payload, f)
	} else {
		if captured < p.u32(head[24:]) {
			notes |= flagCRCError // the recorder kept only a part of the bytes
		}
		got, fault = parseSerial(payload, notes, f)
	}
	if !got || fault != "" {
		return false, p.noFrame(s, fault)
	}
	s.channel.Frames++
	f.Time, f.Channel = t, s.channel.number
	notes.apply(f)
	return true, nil
}

// noFrame counts a packet that gives no frame. Without a fault that is no error.
func (p *pcapng) noFrame(s *source, fault string) error {
	s.channel.Skipped++
	if fault == "" {
		return nil
	}
	return p.fail(KindFrame, p.at+packetHeader, "%s", fault)
}

// interfaceNumber is the number of a packet's interface, from the word that holds
// it. In an obsolete packet block it has half of the word.
func (p *pcapng) interfaceNumber(word, kind uint32) uint32 {
	if kind == obsoletePacketBlock {
		return p.firstHalf(word)
	}
	return word
}

// badPacketHead refuses an interface that is not declared, or a captured length
// that the block has no room for.
func (p *pcapng) badPacketHead(number, captured, length uint32) error {
	if number >= uint32(len(p.sources)) {
		return p.fail(KindInterface, p.at+8, "a packet of interface %d, expected one of the %d that the section has declared", number, len(p.sources))
	}
	return p.fail(KindCapturedLength, p.at+20, "a packet of %d bytes in a block with room for %d", captured, length-packetLength)
}

// unusualPacket refuses a packet block that is too short or too large. A large
// one of an interface that is not read is skipped.
func (p *pcapng) unusualPacket(kind, length uint32) error {
	if err := p.atLeast(length, packetLength, "a packet block"); err != nil {
		return err
	}
	if !p.in.need(packetHeader) {
		return p.ended()
	}
	head := (*[packetHeader]byte)(p.in.unread())
	number, captured := p.interfaceNumber(p.u32(head[8:]), kind), p.u32(head[20:])
	if number >= uint32(len(p.sources)) || captured > length-packetLength {
		return p.badPacketHead(number, captured, length)
	}
	c := p.sources[number].channel
	if c.isRead() {
		return p.oversize(length)
	}
	if err := p.skipBlock(length); err != nil {
		return err
	}
	c.Skipped++
	return nil
}

// simplePacket refuses a simple packet block: it has no time stamp, and a frame
// without a time cannot be ordered. It always belongs to the first interface.
func (p *pcapng) simplePacket(length uint32) error {
	if err := p.atLeast(length, 16, "a simple packet block"); err != nil {
		return err
	}
	if len(p.sources) == 0 {
		return p.fail(KindInterface, p.at, "a simple packet in a section that has declared no interface")
	}
	if err := p.skipBlock(length); err != nil {
		return err
	}
	c := p.sources[0].channel
	c.Skipped++
	if !c.isRead() {
		return nil
	}
	return p.fail(KindNoTime, p.at, "a simple packet block, which has no time stamp; expected an enhanced packet block")
}
