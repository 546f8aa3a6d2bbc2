package mapping

import (
	"cmp"
	"slices"
)

// Test is what a message's payloads hold always: of the eight bytes from Start
// on, the first one least significant, those of Mask are Value.
type Test struct {
	Start       int
	Mask, Value uint64
}

// tests are what the constants among some fields ask for, in order of Start.
func tests(fields []Field) (all []Test) {
	for i := range fields {
		f := &fields[i]
		if f.Equals == nil {
			continue
		}
		start := f.StartByte(0)
		for number := start; number < start+f.ContainerBytes(); number++ {
			block, shift := number/windowBytes*windowBytes, number%windowBytes*8
			at, is := slices.BinarySearchFunc(all, block, func(t Test, start int) int { return cmp.Compare(t.Start, start) })
			if !is {
				all = slices.Insert(all, at, Test{Start: block})
			}
			all[at].Mask |= uint64(f.bitsOf(0, number)) << shift
			all[at].Value |= uint64(f.byteOf(f.Equals.Raw, 0, number)) << shift
		}
	}
	return all
}

// differ tells whether no payload passes the tests of both messages.
func differ(a, b []Test) bool {
	return slices.ContainsFunc(a, func(t Test) bool {
		other := testAt(b, t.Start)
		return (t.Value^other.Value)&t.Mask&other.Mask != 0
	})
}

// implied tells whether every payload that passes the tests of b passes those of a.
func implied(a, b []Test) bool {
	return !slices.ContainsFunc(a, func(t Test) bool {
		other := testAt(b, t.Start)
		return t.Mask&^other.Mask != 0 || (t.Value^other.Value)&t.Mask != 0
	})
}

// testAt is what is asked of the eight bytes at start.
func testAt(all []Test, start int) Test {
	i, is := slices.BinarySearchFunc(all, start, func(t Test, start int) int { return cmp.Compare(t.Start, start) })
	if !is {
		return Test{Start: start}
	}
	return all[i]
}

// rivals are the programs that an id of p can be of too. Their payloads differ
// in what is constant.
func (c *Compiled) rivals(p *Program) (all []*Program) {
	if len(p.Tests) == 0 || p.CAN == nil {
		return nil
	}
	for i := range c.Programs {
		if other := &c.Programs[i]; other != p && other.CAN.overlaps(p.CAN) {
			all = append(all, other)
		}
	}
	return all
}

// HasID tells whether an id of this width can be of the message.
func (c *CANMatch) HasID(id uint32) bool { return (c.ID^id)&c.Mask() == 0 }
