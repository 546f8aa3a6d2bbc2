package feed

import (
	"testing"
	"time"

	"packlink/decode/bank"
	"packlink/decode/pack"
)

// sixteen is a bank of 16 packs of 16 cells.
func sixteen() *bank.Bank {
	packs := make([]pack.Status, 16)
	for i := range packs {
		packs[i] = leftPack(uint32(i + 1))
		for c := range 16 {
			packs[i].PutElement(pack.Cells, c, pack.Value{Coef: int64(3289 + c), Exp: -3, At: noon, Trust: pack.Known})
		}
	}
	return bank.Sum("boathouse", pack.Int(1600), noon, packs)
}

func BenchmarkPublish(b *testing.B) {
	h, state := NewHTTP(), sixteen()
	b.ReportAllocs()
	for b.Loop() {
		h.Publish(state, nil)
	}
}

// BenchmarkEvents renders what every stream then shares.
func BenchmarkEvents(b *testing.B) {
	state := sixteen()
	b.ReportAllocs()
	for b.Loop() {
		(&snapshot{bank: state}).rendered()
	}
}

func BenchmarkMetrics(b *testing.B) {
	s := &snapshot{bank: sixteen(), at: time.Now()}
	room := appendMetrics(nil, s)
	b.ReportAllocs()
	for b.Loop() {
		room = appendMetrics(room[:0], s)
	}
}

func BenchmarkSummaryLine(b *testing.B) {
	state := sixteen()
	room := AppendSummary(nil, state)
	b.ReportAllocs()
	for b.Loop() {
		room = AppendSummary(room[:0], state)
	}
}
