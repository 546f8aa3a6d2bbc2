package decode_test

import (
	"encoding/binary"
	"slices"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping/checksum"
	"packlink/transport"
)

// modelsDevice is the registers of a device of two strings: the first has two
// modules of two cells and one cell, the second none. Model 1 lacks its pad, model
// 802 is longer than the standard's, model 900 is nobody's.
func modelsDevice(at uint16) map[uint16]uint16 {
	registers := make(map[uint16]uint16)
	put := func(words ...uint16) {
		for _, w := range words {
			registers[at] = w
			at++
		}
	}
	model := func(id, length uint16, points map[int]uint16) {
		words := slices.Repeat([]uint16{0xFFFF}, int(length)+2)
		words[0], words[1] = id, length
		for i, w := range points {
			words[i] = w
		}
		put(words...)
	}
	text := func(points map[int]uint16, from, registers int, s string) map[int]uint16 {
		for i := range registers {
			points[from+i] = 0
		}
		for i := 0; i < len(s); i += 2 {
			points[from+i/2] = uint16(s[i])<<8 | uint16(s[i+1])
		}
		return points
	}
	put(0x5375, 0x6E53)
	names := text(text(text(text(text(map[int]uint16{}, 2, 16, "alders"), 18, 16, "A1"), 34, 8, ""), 42, 8, ""), 50, 16, "")
	model(1, 65, names)
	model(802, 70, map[int]uint16{44: 0xFF06, 61: 0xFFFF, 34: 5300, 59: 0xFFFE})
	model(900, 3, nil)
	model(804, 46, map[int]uint16{2: 1, 8: 87, 13: 0xFF9C, 38: 0, 41: 0xFFFF})
	module := func(number, index, cells uint16) {
		points := text(map[int]uint16{2: number, 3: index, 42: 0xFFFD, 43: 0}, 22, 16, "")
		for c := range cells {
			points[44+4*int(c)] = 3300 + 10*index + c
			points[45+4*int(c)] = 0x8000
		}
		model(805, 42+4*cells, points)
	}
	module(1, 1, 2)
	module(1, 2, 1)
	model(804, 46, map[int]uint16{2: 2, 8: 86, 13: 0x8000, 38: 0, 41: 0xFFFF})
	put(0xFFFF, 0)
	return registers
}

// ear hears a reader of a device, in RTU frames.
type modelsEar struct {
	d         *decode.Decoder
	registers map[uint16]uint16
	at        int64
}

func (e *modelsEar) hear(from, count uint16) {
	ask := binary.BigEndian.AppendUint16(binary.BigEndian.AppendUint16([]byte{1, 3}, from), count)
	answer := []byte{1, 3, byte(2 * count)}
	for i := range count {
		answer = binary.BigEndian.AppendUint16(answer, e.registers[from+i])
	}
	if _, there := e.registers[from+count-1]; !there {
		answer = []byte{1, 0x83, 2}
	}
	crc := checksum.Modbus.Table()
	for _, frame := range [][]byte{ask, answer} {
		e.at += 1_000_000
		data := binary.LittleEndian.AppendUint16(frame, uint16(crc.Sum(frame)))
		e.d.Decode(&transport.Frame{Time: e.at, Medium: transport.Serial, Data: data})
	}
}

// walk hears the mark and every header, and then all registers in runs of so many.
func (e *modelsEar) walk(mark, run uint16) {
	for _, at := range []uint16{40000, 0, 50000} {
		e.hear(at, 2)
		if at == mark {
			break
		}
	}
	at := mark + 2
	for e.registers[at] != 0xFFFF {
		e.hear(at, 2)
		at += 2 + e.registers[at+1]
	}
	e.hear(at, 1)
	for from := mark; from < at; from += run {
		e.hear(from, min(run, at-from))
	}
}

// TestHeardModels holds that a reader's traffic with a device is understood from the
// headers that it reads, wherever the mark stands and however the reader cuts its
// requests.
func TestHeardModels(t *testing.T) {
	for _, mark := range []uint16{40000, 0, 50000} {
		for _, run := range []uint16{7, 44, 64, 125} {
			e := &modelsEar{d: decode.NewDecoder(compiled(t, "sunspec-battery"), "shed"), registers: modelsDevice(mark)}
			e.walk(mark, run)
			e.walk(mark, run) // what was heard before its scale factor
			checkHeardDevice(t, e)
		}
	}
}

func checkHeardDevice(t *testing.T, e *modelsEar) {
	t.Helper()
	if e.d.Packs() != 2 || !e.d.Hears(1) || e.d.Hears(2) {
		t.Fatalf("%d packs are heard", e.d.Packs())
	}
	var packs [2]pack.Status
	for i := range packs {
		e.d.Status(i, e.at, &packs[i])
	}
	for i, want := range []map[pack.Quantity]string{
		{pack.SOC: "87", pack.Current: "-10"}, {pack.SOC: "86", pack.Current: ""},
	} {
		if s := &packs[i]; s.Address != uint32(i+1) || s.Source != "shed" || s.Text(pack.Maker) != "alders" || s.Text(pack.Model) != "A1" {
			t.Errorf("pack %d is %s", i+1, s.AppendJSON(nil))
		}
		for q, text := range want {
			if v := packs[i].Value(q); packs[i].Has(q) != (text != "") || text != "" && v.Decimal().String() != text {
				t.Errorf("pack %d: %v is %v, want %q", i+1, q, v.Decimal(), text)
			}
		}
	}
	var cells []string
	for _, v := range packs[0].Elements(pack.Cells) {
		cells = append(cells, v.Decimal().String())
	}
	if !slices.Equal(cells, []string{"3.31", "3.311", "3.32"}) || len(packs[1].Elements(pack.Cells)) > 0 {
		t.Errorf("the cells are %v and %v", cells, packs[1].Elements(pack.Cells))
	}
}

// TestModelsNotHeardFromTheMark holds that registers whose model is not known are
// not guessed at.
func TestModelsNotHeardFromTheMark(t *testing.T) {
	e := &modelsEar{d: decode.NewDecoder(compiled(t, "sunspec-battery"), "shed"), registers: modelsDevice(40000)}
	for from := uint16(40002); from < 40300; from += 50 {
		e.hear(from, 50)
	}
	if e.d.Packs() != 0 {
		t.Errorf("%d packs are made up", e.d.Packs())
	}
}

// TestModelsChange holds that a chain which changes forgets its packs.
func TestModelsChange(t *testing.T) {
	e := &modelsEar{d: decode.NewDecoder(compiled(t, "sunspec-battery"), "shed"), registers: modelsDevice(40000)}
	e.walk(40000, 100)
	e.registers = modelsDevice(40000)
	e.registers[40002+67] = 803 // in place of 802
	e.registers[40002+68] = 58
	e.hear(40002+67, 2)
	if e.d.Packs() != 0 {
		t.Errorf("%d packs are left of a chain that is no more", e.d.Packs())
	}
	e.registers = map[uint16]uint16{40000: 1, 40001: 2}
	e.hear(40000, 2)
	if e.d.Packs() != 0 {
		t.Errorf("%d packs without a mark", e.d.Packs())
	}
}

// TestModelsAfterTheClockIsSetBack follows the packs anew, by their numbers.
func TestModelsAfterTheClockIsSetBack(t *testing.T) {
	e := &modelsEar{d: decode.NewDecoder(compiled(t, "sunspec-battery"), "shed"), registers: modelsDevice(0), at: 7_200_000_000_000}
	e.walk(0, 64)
	e.at = 3_600_000_000_000
	e.walk(0, 64)
	e.walk(0, 64)
	checkHeardDevice(t, e)
}
