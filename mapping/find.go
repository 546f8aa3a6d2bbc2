package mapping

// enter makes a message findable by its id.
func (c *Compiled) enter(p *Program) {
	match := p.CAN
	switch {
	case match == nil:
	case match.Extended:
		c.enterLong(match, p)
	default:
		varying := ^match.Mask() & (1<<11 - 1)
		for bits := varying; ; bits = (bits - 1) & varying {
			c.short[match.ID&match.Mask()|bits] = p
			if bits == 0 {
				return
			}
		}
	}
}

func (c *Compiled) enterLong(match *CANMatch, p *Program) {
	for i := range c.long {
		if c.long[i].mask == match.Mask() {
			c.long[i].ids[match.ID&match.Mask()] = p
			return
		}
	}
	c.long = append(c.long, longIDs{match.Mask(), map[uint32]*Program{match.ID & match.Mask(): p}})
}

// FindCAN is the program of the frames with an id, nil if there is none. Where
// messages share an id it is one of them; the payload tells which.
func (c *Compiled) FindCAN(id uint32, extended bool) *Program {
	if !extended {
		if id < uint32(len(c.short)) {
			return c.short[id]
		}
		return nil
	}
	if id > mostLongID {
		return nil
	}
	for i := range c.long {
		if p := c.long[i].ids[id&c.long[i].mask]; p != nil {
			return p
		}
	}
	return nil
}

// Address is the pack's address in an id, and whether the message has one.
func (p *Program) Address(id uint32) (address uint32, has bool) {
	return id >> p.shift & p.mask, p.mask != 0
}

// ID is the id of the message for a pack's address.
func (p *Program) ID(address uint32) uint32 { return p.CAN.ID | address&p.mask<<p.shift }

// mostLongID is the greatest CAN id (ISO 11898-1:2015, from memory).
const mostLongID = 1<<29 - 1
