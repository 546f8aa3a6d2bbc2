package decode

import (
	"bytes"
	"fmt"
	"strings"

	"packlink/decode/pack"
	"packlink/mapping"
)

// withPieces adds to what was read the pieces of texts that the example's bytes give
// only in part.
func (v *verifier) withPieces(read map[string]string) map[string]string {
	for i := range v.program.Body.All {
		op := &v.program.Body.All[i]
		if op.Piece == nil || v.status.Has(op.Quantity) {
			continue
		}
		if part, there := v.lets.part(op, v.payload); there && op.Need <= len(part) {
			if text := bytes.TrimRight(part[op.Start:op.Need], string(rune(op.Pad))); len(text) > 0 {
				read[pieceKey(op.Target)] = string(pack.AppendText(nil, string(text)))
			}
		}
	}
	return read
}

// givenPieces are the pieces of texts that an example gives, by where they begin.
func (v *verifier) givenPieces() map[mapping.Target]string {
	pieces := make(map[mapping.Target]string)
	for _, g := range v.example.Gives {
		if isPiece(g) {
			pieces[*g.Target] = g.Texts[0]
		}
	}
	return pieces
}

// isPiece tells whether a given key is that of a piece of a text, such as serial[9].
func isPiece(g mapping.Given) bool {
	return g.Target != nil && g.Target.Quantity.Row().Kind == pack.Word && strings.HasSuffix(g.Key, "]")
}

// pieceKey is the key of a piece of a text.
func pieceKey(t *mapping.Target) string {
	return fmt.Sprintf("%s[%d]", t.Quantity, t.Element+1)
}
