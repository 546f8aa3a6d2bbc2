package decode

import (
	"cmp"
	"slices"

	"packlink/decode/pack"
	"packlink/transport"
)

// MaxUnknownIDs is the most unknown ids that are kept apart; frames of further
// ones are counted only.
const MaxUnknownIDs = 1024

// UnknownID is an id on the bus that the mapping does not know.
type UnknownID struct {
	ID       uint32
	Extended bool
	Frames   uint64
	First    int64 // nanoseconds since the Unix epoch
	Last     int64
	Size     int // bytes of the newest frame, of which Data holds the first
	Data     [8]byte
}

// Rate is the mean number of frames per second, to 0.1; 0 for a single frame.
func (u *UnknownID) Rate() pack.Decimal {
	rate, _ := pack.Int(int64(u.Frames-1)).Div(pack.Decimal{Coef: max(u.Last-u.First, 1), Exp: -9}, -1)
	return rate
}

type unknownIDs struct {
	byID map[uint32]*UnknownID
}

func newUnknownIDs() unknownIDs { return unknownIDs{make(map[uint32]*UnknownID)} }

const extendedKey = 1 << 31

func (u *unknownIDs) count(f *transport.Frame) {
	extended := f.Flags&transport.Extended != 0
	key := f.ID
	if extended {
		key |= extendedKey
	}
	id := u.byID[key]
	if id == nil {
		if len(u.byID) == MaxUnknownIDs {
			return
		}
		id = &UnknownID{ID: f.ID, Extended: extended, First: f.Time}
		u.byID[key] = id
	}
	id.Frames++
	id.Last = f.Time
	id.Size = len(f.Data)
	copy(id.Data[:], f.Data)
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
		return cmp.Compare(a.ID, b.ID)
	})
	return all
}
