package mapping

// Limits of Modbus: the last unit that is no broadcast and not reserved (MODBUS
// over Serial Line V1.02, section 2.2, from memory), and the most registers of a
// request (Application Protocol V1.1b3, section 6.3).
const (
	lastUnit      = 247
	mostRegisters = 125
)

// Function is the Modbus function code that reads the registers (MODBUS
// Application Protocol V1.1b3, sections 6.3 and 6.4).
func (b *RegisterBus) Function() int {
	if b.Table == "input" {
		return 4
	}
	return 3
}

// HasUnit tells whether a unit of this number can be a pack.
func (b *RegisterBus) HasUnit(unit int) bool { return unit >= b.Units[0] && unit <= b.Units[1] }
