package mapping

import (
	"time"

	"packlink/decode/pack"
)

// textPieces are the places at which fields of a mapping begin texts, and, as bits,
// the bytes that they give of each text which comes in pieces.
type textPieces struct {
	begins map[Target]bool
	bytes  map[pack.Quantity]uint64
}

func piecesOf(m *Mapping) textPieces {
	pieces := textPieces{make(map[Target]bool), make(map[pack.Quantity]uint64)}
	all := make(map[pack.Quantity]uint64)
	for _, msg := range m.Messages {
		for i := range msg.Fields {
			if f := &msg.Fields[i]; f.Target != nil && f.Type.Base == Text {
				pieces.begins[*f.Target] = true
				all[f.Target.Quantity] |= f.textBytes()
			}
		}
	}
	for t := range pieces.begins {
		if t.Element > 0 {
			pieces.bytes[t.Quantity] = all[t.Quantity]
		}
	}
	return pieces
}

// mark notes which operations of a message give a piece of their text.
func (t *textPieces) mark(ops []Op, timeout time.Duration) {
	for i := range ops {
		op := &ops[i]
		if op.Kind != OpText || op.Target == nil {
			continue
		}
		op.Continued = t.begins[Target{op.Quantity, op.Target.Element + op.Type.Bits/8}]
		if all := t.bytes[op.Quantity]; all != 0 {
			op.Piece = &pack.Piece{From: op.Target.Element, All: all, Lasts: int64(timeout)}
		}
	}
}

// textBytes has bit i for each byte i that the field gives of a text.
func (f *Field) textBytes() uint64 { return (1<<(f.Type.Bits/8) - 1) << f.Target.Element }
