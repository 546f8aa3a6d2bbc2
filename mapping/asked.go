package mapping

import "bytes"

// MaxNode is the greatest address that a node of SAE J1939 can have: 254 is that of a
// node that has none, and 255 is everybody. All three are from memory of the standard.
const MaxNode = 253

// Asked is the id of the question to the pack at an address: that stands where the
// message's own id has it, or is the destination of a parameter group. Where the
// payload holds the address, a parameter group is asked of everybody.
func (c *CANMatch) Asked(address uint32) uint32 {
	switch {
	case !c.HasPGN:
		return c.Ask.ID | address<<c.AddressBit&c.addressMask()
	case c.AddressWidth == 0:
		return c.Ask.ID
	}
	return c.Ask.ID&^(destination<<destinationBit) | address&destination<<destinationBit
}

// Asks tells whether an id is that of a question to the pack at an address. A
// parameter group can come from any asker, and can be sent to everybody.
func (c *CANMatch) Asks(id, address uint32) bool {
	if !c.HasPGN {
		return id == c.Asked(address)
	}
	if c.AddressWidth == 0 {
		address = c.ID & (1<<sourceWidth - 1)
	}
	to := id >> destinationBit & destination
	return c.isAsked(id) && (to == address || to == destination)
}

// isAsked tells whether an id is that of a question to any pack.
func (c *CANMatch) isAsked(id uint32) bool {
	if c.HasPGN {
		return PGN(id) == PGN(c.Ask.ID)
	}
	return id&^c.addressMask() == c.Ask.ID
}

// askedMatch has the ids that are a question for the message.
func (c *CANMatch) askedMatch() *CANMatch {
	if !c.HasPGN {
		return &CANMatch{ID: c.Ask.ID, Extended: c.Extended, Ignored: c.addressMask()}
	}
	return &CANMatch{ID: c.Ask.ID, Extended: true, Ignored: priorityMask | destination<<destinationBit | 1<<sourceWidth - 1}
}

// IsQuestion tells whether a frame is a question for a message of the mapping, or
// steers how its answer travels: then it says nothing of the pack.
func (c *Compiled) IsQuestion(id uint32, extended bool, data []byte) bool {
	return c.FindQuestion(id, extended, data) != nil
}

// FindQuestion is the first message that such a frame asks for, nil if it is no
// question of the mapping.
func (c *Compiled) FindQuestion(id uint32, extended bool, data []byte) *Program {
	for _, p := range c.asked {
		if p.CAN.Extended == extended && p.CAN.isAsked(id) && p.CAN.isQuestion(data) {
			return p
		}
	}
	return nil
}

// isoTPFlow are the upper four bits of a flow control frame of ISO 15765-2.
const isoTPFlow = 3

func (c *CANMatch) isQuestion(data []byte) bool {
	if c.Transfer != ISOTP {
		return bytes.Equal(data, c.Ask.Payload)
	}
	size := len(c.Ask.Payload)
	return len(data) > 0 && data[0]>>4 == isoTPFlow ||
		len(data) > size && int(data[0]) == size && bytes.Equal(data[1:1+size], c.Ask.Payload)
}
