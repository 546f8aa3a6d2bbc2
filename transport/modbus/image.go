package modbus

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"slices"
	"sort"
)

// registers is the number of addresses of a unit (section 4.3: 0 to 65535).
const registers = 65536

// Block is a run of contiguous registers.
type Block struct {
	From    int      // the PDU address of the first register, from 0
	Words   []uint16 // the registers, one after another
	Missing []bool   // true where the value is not known now; nil: all are known
}

// Image is all that one unit shows: its registers and its identity. It never
// changes.
type Image struct {
	spans    []span // by address, and never touching each other
	identity identification
}

// span is a run of registers as they stand in a response.
type span struct {
	from    int
	bytes   []byte // two for each register, high byte first (section 4.2)
	missing []bool // one for each register; nil: all are known
}

// NewImage makes an image of blocks in any order. Blocks that touch can be read
// by one request. The image keeps nothing of the caller's slices. Blocks that
// overlap, leave the 65,536 addresses or have a Missing of another length than
// Words are refused, and so is an identity that breaks the rules of [Identity].
func NewImage(identity Identity, blocks []Block) (*Image, error) {
	objects, err := identity.encode()
	if err != nil {
		return nil, err
	}
	ordered := slices.Clone(blocks)
	slices.SortStableFunc(ordered, func(a, b Block) int { return cmp.Compare(a.From, b.From) })
	image := &Image{identity: objects}
	for _, block := range ordered {
		if err := block.check(); err != nil {
			return nil, err
		}
		if err := image.add(block); err != nil {
			return nil, err
		}
	}
	return image, nil
}

// check refuses a block that no image can show.
func (b Block) check() error {
	if b.From < 0 || b.From > registers-len(b.Words) {
		return fmt.Errorf("modbus block at address %d: its %d registers do not fit in the addresses 0 to %d",
			b.From, len(b.Words), registers-1)
	}
	if b.Missing != nil && len(b.Missing) != len(b.Words) {
		return fmt.Errorf("modbus block at address %d: it has %d registers and says of %d whether they are missing: give both or no Missing",
			b.From, len(b.Words), len(b.Missing))
	}
	return nil
}

// add puts a block behind all others: into the last span if they touch.
func (m *Image) add(b Block) error {
	if len(b.Words) == 0 {
		return nil
	}
	last := len(m.spans) - 1
	if last >= 0 && b.From < m.spans[last].end() {
		return fmt.Errorf("modbus block at address %d: it overlaps a block that ends at address %d",
			b.From, m.spans[last].end()-1)
	}
	if last < 0 || b.From > m.spans[last].end() {
		m.spans = append(m.spans, span{from: b.From})
		last++
	}
	m.spans[last].extend(b)
	return nil
}

// end is the address after the last register.
func (s *span) end() int { return s.from + len(s.bytes)/2 }

// extend appends the registers of a block.
func (s *span) extend(b Block) {
	known := len(s.bytes) / 2
	for _, word := range b.Words {
		s.bytes = binary.BigEndian.AppendUint16(s.bytes, word)
	}
	if s.missing == nil && slices.Contains(b.Missing, true) {
		s.missing = make([]bool, known)
	}
	if s.missing != nil {
		s.missing = append(s.missing, b.Missing...)
		s.missing = append(s.missing, make([]bool, len(b.Words)-len(b.Missing))...)
	}
}

// read returns the bytes of quantity registers, or why it cannot.
func (m *Image) read(from, quantity int) ([]byte, Exception) {
	next := sort.Search(len(m.spans), func(i int) bool { return m.spans[i].from > from })
	if next == 0 {
		return nil, IllegalDataAddress
	}
	s := &m.spans[next-1]
	if from+quantity > s.end() {
		return nil, IllegalDataAddress
	}
	first := from - s.from
	if s.missing != nil && slices.Contains(s.missing[first:first+quantity], true) {
		return nil, GatewayTargetFailed
	}
	return s.bytes[2*first : 2*(first+quantity)], 0
}
