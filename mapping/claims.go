package mapping

// claims are the bits of a run that fields have: those that are always there, and
// those that depend on the value of a named field.
type claims struct {
	always  []byte
	depends []byte   // bits that some dependent field has
	names   []uint64 // of each bit: which names those fields depend on
	by      map[string]*dependents
	size    int
	values  int

	own  *dependents // of the field that claims now; nil if it is always there
	raws []uint64
}

// dependents are the claims of the fields that depend on one name.
type dependents struct {
	bit   uint64 // of the name
	value map[uint64][]byte
}

func newClaims(size int) *claims {
	return &claims{always: make([]byte, size), by: make(map[string]*dependents), size: size}
}

// begin prepares for the claims of a field. It is false if the field depends on
// more values or names than are followed.
func (c *claims) begin(f *Field) bool {
	c.own, c.raws = nil, nil
	if f.When == nil {
		return true
	}
	if c.depends == nil {
		c.depends, c.names = make([]byte, c.size), make([]uint64, 8*c.size)
	}
	own := c.by[f.When.Name]
	if own == nil {
		if len(c.by) == MaxLets {
			return false
		}
		own = &dependents{1 << len(c.by), make(map[uint64][]byte)}
		c.by[f.When.Name] = own
	}
	for _, raw := range f.When.Raws {
		if own.value[raw] == nil {
			if c.values++; c.values > MaxWhen {
				return false
			}
			own.value[raw] = make([]byte, c.size)
		}
	}
	c.own, c.raws = own, f.When.Raws
	return true
}

// taken are the bits of a byte that a field has which can be there together with
// the one that claims now.
func (c *claims) taken(number int) byte {
	taken := c.always[number]
	if c.own == nil {
		if c.depends != nil {
			taken |= c.depends[number]
		}
		return taken
	}
	for _, raw := range c.raws {
		taken |= c.own.value[raw][number]
	}
	if c.depends[number] != 0 {
		for bit := range 8 {
			if c.names[8*number+bit]&^c.own.bit != 0 {
				taken |= 1 << bit
			}
		}
	}
	return taken
}

func (c *claims) take(number int, bits byte) {
	if c.own == nil {
		c.always[number] |= bits
		return
	}
	c.depends[number] |= bits
	for _, raw := range c.raws {
		c.own.value[raw][number] |= bits
	}
	for bit := range 8 {
		if bits>>bit&1 != 0 {
			c.names[8*number+bit] |= c.own.bit
		}
	}
}
