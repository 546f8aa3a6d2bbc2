package simulate

import (
	"cmp"
	"encoding/binary"
	"iter"
	"slices"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/checksum"
	"packlink/transport"
)

// Modbus, by MODBUS Application Protocol V1.1b3: the most registers that one request
// can read (section 6.3), and the exception of a gateway whose device does not answer
// (section 7), for registers whose value is not known.
const (
	mostRegisters = 125
	exceptionFlag = 0x80
	noValue       = 0x0B
)

// planRegisters: a master reads the registers of each pack, block by block, those of
// models in pieces from the mark on.
func (t *Traffic) planRegisters() (every []time.Duration, err error) {
	if t.table.Bus.Registers.ModelsAt >= 0 {
		blocks, _ := t.layout()
		for from := 0; from < len(blocks[0].Words); from += mostRegisters {
			count := min(mostRegisters, len(blocks[0].Words)-from)
			t.read(0, blocks[0].From+from, count)
			every = append(every, usualPeriod)
		}
		return every, nil
	}
	for n := range t.speakers {
		for i := range t.table.Programs {
			p := &t.table.Programs[i]
			for from, count := range requests(p, t.table.Bus.Registers.Most) {
				t.read(n, from, count)
				every = append(every, cmp.Or(p.Every, usualPeriod))
			}
		}
	}
	return every, nil
}

// requests are the first registers and the counts of the questions for a message, of
// at most so many registers each. No field is divided that one question can ask for.
func requests(p *mapping.Program, most int) iter.Seq2[int, int] {
	joined := p.Joined()
	return func(yield func(from, count int) bool) {
		for first, end := 0, 0; first < p.Read.Count; first = end {
			end = min(first+most, p.Read.Count)
			for at := end; at < p.Read.Count && at > first; at-- {
				if !slices.Contains(joined, at) {
					end = at
					break
				}
			}
			if !yield(p.Read.From+first, end-first) {
				return
			}
		}
	}
}

// read plans one request for registers.
func (t *Traffic) read(speaker, from, count int) {
	unit, function := byte(t.speakers[speaker].address), byte(t.table.Bus.Registers.Function())
	question := []byte{unit, function, byte(from >> 8), byte(from), byte(count >> 8), byte(count)}
	t.turns = append(t.turns, turn{
		speaker: speaker, from: from, count: count,
		question: transport.Frame{Medium: transport.Serial, Direction: transport.Received, Data: withCRC(question)},
	})
}

// layout is the registers of everybody who has models.
func (t *Traffic) layout() ([]decode.Registers, []error) {
	whole := t.whole()
	return decode.Layout(t.table, &whole.Whole, whole.Packs)
}

// registers answers a request for registers.
func (t *Traffic) registers(turn *turn, who *speaker, at int64) {
	var blocks []decode.Registers
	if t.table.Bus.Registers.ModelsAt >= 0 {
		blocks, _ = t.layout()
	} else {
		blocks, _ = decode.Layout(t.table, &t.now.status, []pack.Status{t.now.status})
	}
	unit, function := byte(who.address), byte(t.table.Bus.Registers.Function())
	answer := []byte{unit, function, byte(2 * turn.count)}
	words, known := find(blocks, turn.from, turn.count)
	for _, w := range words {
		answer = binary.BigEndian.AppendUint16(answer, w)
	}
	if !known {
		answer = []byte{unit, function | exceptionFlag, noValue}
	}
	for i := range t.table.Programs {
		if p := &t.table.Programs[i]; known && p.Read.Model == 0 && p.Read.From == turn.from && p.Read.Count == turn.count {
			t.now.programs = append(t.now.programs, p)
		}
	}
	t.put(&transport.Frame{Medium: transport.Serial, Data: withCRC(answer)}, who, at)
}

// find is the registers of a request; known is false if one of them has no value.
func find(blocks []decode.Registers, from, count int) (words []uint16, known bool) {
	for _, b := range blocks {
		first := from - b.From
		if first < 0 || first+count > len(b.Words) {
			continue
		}
		for i := first; b.Missing != nil && i < first+count; i++ {
			if b.Missing[i] {
				return nil, false
			}
		}
		return b.Words[first : first+count], true
	}
	return nil, false
}

var crc = checksum.Modbus.Table()

// withCRC appends the CRC of Modbus RTU, low byte first (MODBUS over Serial Line
// V1.02, section 6.2.2).
func withCRC(frame []byte) []byte {
	return binary.LittleEndian.AppendUint16(frame, uint16(crc.Sum(frame)))
}
