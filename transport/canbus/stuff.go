package canbus

import "packlink/transport"

// After five equal bits the controller puts in one of the other kind, and goes
// on counting with that one (ISO 11898-1, bit stuffing).
const stuffRun = 5

// run is the bits that were sent last: how many were equal, less one, and twice
// that their kind is added: 0 dominant, 1 recessive.
type run uint8

// runs is how many different runs there are.
const runs = 2 * (stuffRun - 1)

// stuffStep is what a byte does to a run.
type stuffStep struct {
	after run
	bits  uint8 // stuff bits put in
}

// stuffTable has that for each run and byte.
var stuffTable = makeStuffTable()

func makeStuffTable() (table [runs][256]stuffStep) {
	for before := range table {
		for value := range table[before] {
			step := stuffStep{after: run(before)}
			for shift := 7; shift >= 0; shift-- {
				step = step.push(run(value >> shift & 1))
			}
			table[before][value] = step
		}
	}
	return table
}

// push adds one bit, and the stuff bit that it may make necessary.
func (s stuffStep) push(bit run) stuffStep {
	if s.after&1 != bit {
		s.after = bit
		return s
	}
	s.after += 2
	if s.after>>1 == stuffRun-1 {
		return stuffStep{after: bit ^ 1, bits: s.bits + 1}
	}
	return s
}

// stuffBits is how many stuff bits the laid-out frame needs. The bits before it
// and behind it are made to alternate, so that they need none.
func stuffBits(b []byte, f *transport.Frame) (n int) {
	if leadBits(f) == 1 {
		b[0] |= 0x80 // 1, then the start of frame, 0
	} else {
		b[0] |= 0xA8 // 10101, then the start of frame, 0
	}
	last := len(b) - 1
	b[last] |= ^b[last] >> 1 & 1
	before := run(0)
	for _, value := range b {
		step := stuffTable[before][value]
		before = step.after
		n += int(step.bits)
	}
	return n
}
