package decode

import (
	"cmp"
	"fmt"
	"slices"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/framing"
	"packlink/transport"
)

// MaxUnknownIDs is the most unknown ids that are kept apart; frames of further
// ones are counted only.
const MaxUnknownIDs = 1024

// UnknownID is an id on the bus that the mapping does not know; on a Modbus
// line, registers of a unit; on another line, a frame by the values of its parts.
type UnknownID struct {
	Medium   transport.Medium
	Head     string // of a frame made of parts: their values; "" of others
	ID       uint32 // of registers: unit, function and first register, from the top
	Extended bool
	Frames   uint64
	First    int64 // nanoseconds since the Unix epoch
	Last     int64
	Size     int // bytes of the newest frame, of which Data holds the first
	Data     [8]byte
}

// String is the id as a person knows it: 351, 18FF4001, unit, function and
// register, or kind 0xDD, status 0x04.
func (u *UnknownID) String() string {
	switch {
	case u.Head != "":
		return u.Head
	case u.Medium == transport.Serial:
		return fmt.Sprintf("unit %d, function %d, register %d on", u.ID>>24, u.ID>>16&0xFF, u.ID&0xFFFF)
	case u.Extended:
		return fmt.Sprintf("%08X", u.ID)
	}
	return fmt.Sprintf("%03X", u.ID)
}

// Rate is the mean number of frames per second, to 0.1. It is not ok for a
// single frame, or if the clock was set back.
func (u *UnknownID) Rate() (rate pack.Decimal, ok bool) {
	if u.Last <= u.First {
		return rate, false
	}
	return pack.Int(int64(u.Frames-1)).Div(pack.Decimal{Coef: u.Last - u.First, Exp: -9}, -1)
}

type unknownIDs struct {
	byID map[unknownKey]*UnknownID
}

// unknownKey is what unknown ids are told apart by.
type unknownKey struct {
	id   uint32
	head [framing.MaxParts]uint64 // values of the parts of a frame
}

func newUnknownIDs() unknownIDs { return unknownIDs{make(map[unknownKey]*UnknownID)} }

const extendedKey = 1 << 31

func (u *unknownIDs) count(f *transport.Frame) {
	key := f.ID
	if f.Flags&transport.Extended != 0 {
		key |= extendedKey
	}
	u.note(unknownKey{id: key}, UnknownID{Medium: f.Medium, ID: f.ID, Extended: f.Flags&transport.Extended != 0}, f.Data, f.Time)
}

func (u *unknownIDs) countRegisters(a *answer, at int64) {
	key := uint32(a.unit)<<24 | uint32(a.function)<<16 | uint32(a.from)
	u.note(unknownKey{id: key}, UnknownID{Medium: transport.Serial, ID: key}, a.data, at)
}

// countFrame counts a frame of parts that is no message.
func (u *unknownIDs) countFrame(bus *mapping.SerialBus, h *serialHead, data []byte, at int64) {
	key := unknownKey{head: h.values}
	first := UnknownID{Medium: transport.Serial}
	if u.byID[key] == nil {
		first.Head = bus.Describe(&h.values)
	}
	u.note(key, first, data, at)
}

// note counts a frame of an unknown id, and keeps its bytes.
func (u *unknownIDs) note(key unknownKey, first UnknownID, data []byte, at int64) {
	id := u.byID[key]
	if id == nil {
		if len(u.byID) == MaxUnknownIDs {
			return
		}
		first.First = at
		id = new(UnknownID)
		*id = first
		u.byID[key] = id
	}
	id.Frames++
	id.Last = at
	id.Size = len(data)
	copy(id.Data[:], data)
}

func (u *unknownIDs) sorted() []UnknownID {
	all := make([]UnknownID, 0, len(u.byID))
	for _, id := range u.byID {
		all = append(all, *id)
	}
	slices.SortFunc(all, func(a, b UnknownID) int {
		if a.Frames != b.Frames {
			return cmp.Compare(b.Frames, a.Frames)
		}
		return cmp.Or(cmp.Compare(a.ID, b.ID), cmp.Compare(a.Head, b.Head))
	})
	return all
}
