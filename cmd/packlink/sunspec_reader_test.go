package main

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"packlink/fixtures/beside"
)

// definitions are the published model definitions (SunSpec information model
// definitions, commit 7abdf8982d53 of 2026-04-22). The reader below knows nothing
// else, and nothing of packlink's mapping.
const definitions = "../../../shared/standards/sunspec/model_%d.json"

type definedPoint struct {
	Name, Type, Units string
	SF                any
	Size              int
}

type definedGroup struct {
	Name   string
	Points []definedPoint
	Groups []definedGroup
}

// readPoint is a point as an independent reader finds it: known tells whether it is
// implemented.
type readPoint struct {
	value float64
	text  string
	unit  string
	known bool
}

// modelReader reads one image of registers by the definitions.
type modelReader struct {
	t      *testing.T
	words  []uint16
	points map[string]readPoint // "804[2].V", "805[1].cell[3].CellV"
}

func (r *modelReader) define(id int) *definedGroup {
	data, err := os.ReadFile(fmt.Sprintf(definitions, id))
	if err != nil {
		beside.Missing(r.t, "the published definitions are not here: ", err)
	}
	var model struct{ Group definedGroup }
	if err := json.Unmarshal(data, &model); err != nil {
		r.t.Fatal(err)
	}
	return &model.Group
}

// walk reads the models from the mark to the end.
func (r *modelReader) walk() {
	if r.words[0] != 0x5375 || r.words[1] != 0x6E53 {
		r.t.Fatalf("the image begins with %04X, want SunS", r.words[:2])
	}
	seen := make(map[int]int)
	at := 2
	for r.words[at] != 0xFFFF {
		id, size := int(r.words[at]), 2+int(r.words[at+1])
		seen[id]++
		r.model(fmt.Sprintf("%d[%d]", id, seen[id]), r.define(id), r.words[at:at+size])
		at += size
	}
	if r.words[at+1] != 0 || at+2 != len(r.words) {
		r.t.Errorf("the end mark at %d has length %d; there are %d registers", at, r.words[at+1], len(r.words))
	}
}

// model reads the points of a model, then its group as often as there is room.
func (r *modelReader) model(name string, g *definedGroup, words []uint16) {
	powers := make(map[string]float64)
	rest := r.group(name, g.Points, words, powers)
	for _, inner := range g.Groups {
		size := 0
		for _, p := range inner.Points {
			size += p.Size
		}
		if len(rest)%size != 0 {
			r.t.Errorf("%s: %d registers are no whole groups of %d", name, len(rest), size)
		}
		for i := 1; len(rest) >= size; i++ {
			rest = r.group(fmt.Sprintf("%s.%d", name, i), inner.Points, rest, powers)
		}
	}
	if len(rest) > 0 {
		r.t.Errorf("%s: %d registers are left over", name, len(rest))
	}
}

func (r *modelReader) group(name string, points []definedPoint, words []uint16, powers map[string]float64) (rest []uint16) {
	at := 0
	for _, p := range points {
		if p.Type == "sunssf" && words[at] != 0x8000 {
			powers[p.Name] = math.Pow10(int(int16(words[at])))
		}
		at += p.Size
	}
	at = 0
	for _, p := range points {
		read := plainPoint(p, words[at:at+p.Size])
		read.unit = p.Units
		if factor, is := p.SF.(string); is {
			power, known := powers[factor]
			read.known = read.known && known
			read.value *= power
		}
		r.points[name+"."+p.Name] = read
		at += p.Size
	}
	return words[at:]
}

// plainPoint is a point without its scale factor. The "not implemented" values are
// those of the SunSpec Alliance's reference library, commit f2ece9aac64b of
// 2026-04-20.
func plainPoint(p definedPoint, words []uint16) readPoint {
	switch p.Type {
	case "int16", "sunssf":
		return readPoint{value: float64(int16(words[0])), known: words[0] != 0x8000}
	case "uint16", "enum16":
		return readPoint{value: float64(words[0]), known: words[0] != 0xFFFF}
	case "uint32", "bitfield32":
		n := uint32(words[0])<<16 | uint32(words[1])
		return readPoint{value: float64(n), known: n != 0xFFFFFFFF}
	case "string":
		var b []byte
		for _, w := range words {
			b = append(b, byte(w>>8), byte(w))
		}
		text := strings.TrimRight(string(b), "\x00")
		return readPoint{text: text, known: text != ""}
	}
	return readPoint{}
}

// readRegisters reads holding registers over Modbus/TCP, by hand (MODBUS Messaging
// on TCP/IP V1.0b, section 3.1.3; MODBUS Application Protocol V1.1b3, section 6.3).
func readRegisters(t *testing.T, c net.Conn, from, count int) []uint16 {
	t.Helper()
	ask := []byte{0, 1, 0, 0, 0, 6, 1, 3, byte(from >> 8), byte(from), 0, byte(count)}
	if _, err := c.Write(ask); err != nil {
		t.Fatal(err)
	}
	answer := make([]byte, 9+2*count)
	if _, err := io.ReadFull(c, answer[:9]); err != nil || answer[7] != 3 {
		t.Fatalf("registers %d to %d: % X, %v", from, from+count-1, answer[:9], err)
	}
	if _, err := io.ReadFull(c, answer[9:]); err != nil {
		t.Fatal(err)
	}
	words := make([]uint16, count)
	for i := range words {
		words[i] = binary.BigEndian.Uint16(answer[9+2*i:])
	}
	return words
}

// TestIndependentReader walks the models that a bridge serves by the published
// definitions alone, and wants every point right that follows from the bank which
// went in, and no other to claim that it is known.
func TestIndependentReader(t *testing.T) {
	const now = 1_700_000_000_000_000_000
	address, _ := serveBank(t, knownBank(now))
	c, err := net.DialTimeout("tcp", address, 5*time.Second)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(10 * time.Second))
	r := &modelReader{t: t, points: make(map[string]readPoint)}
	for at := 40000; ; {
		head := readRegisters(t, c, at, 2)
		r.words = append(r.words, head...)
		at += 2
		if head[0] == 0x5375 {
			continue
		}
		for left := int(head[1]); left > 0; {
			n := min(left, 125)
			r.words = append(r.words, readRegisters(t, c, at, n)...)
			at, left = at+n, left-n
		}
		if head[0] == 0xFFFF {
			break
		}
	}
	r.walk()
	want := wantedPoints(now)
	for name, w := range want {
		got, there := r.points[name]
		if !there || !got.known || math.Abs(got.value-w.value) > 1e-9*math.Abs(w.value) || got.text != w.text || w.unit != "" && got.unit != w.unit {
			t.Errorf("%s is %+v, want %+v", name, got, w)
		}
	}
	for name, p := range r.points {
		point := name[strings.LastIndex(name, ".")+1:]
		if _, wanted := want[name]; !wanted && p.known && !strings.HasSuffix(name, "_SF") && !strings.HasPrefix(point, "Pad") {
			t.Errorf("%s says %v %q, which nobody knows", name, p.value, p.text)
		}
	}
}

// wantedPoints are the points that knownBank makes known, worked out by hand: packs
// of 13.251 V -25.3 A and 13.252 V -21.3 A; cell c of pack n is 3.311 + (c + n)/1000
// V less 0.001, and 23.6 - c/10 degC; even cells are balanced.
func wantedPoints(now int64) map[string]readPoint {
	want := make(map[string]readPoint)
	put := func(prefix string, values map[string]float64) {
		for name, v := range values {
			want[prefix+name] = readPoint{value: v}
		}
	}
	want["1[1].Mn"], want["1[1].Md"] = readPoint{text: "packlink"}, readPoint{text: "battery bank"}
	put("1[1].", map[string]float64{"ID": 1, "L": 66})
	put("802[1].", map[string]float64{
		"ID": 802, "L": 62, "AHRtg": 200, "WHRtg": 2560, "SoC": 87.5, "DoD": 12.5, "SoH": 98, "ChaSt": 3, "LocRemCtl": 1, "Hb": float64(now / 1_000_000_000 % 65535),
		"AlmRst": 0, "Typ": 4, "State": 3, "Evt1": 1 << 2, "Evt2": 0, "EvtVnd1": 0, "EvtVnd2": 0, "V": 13.252, "CellVMax": 3.316, "CellVMaxStr": 2,
		"CellVMin": 3.312, "CellVMinStr": 1, "CellVAvg": 3.314, "A": -46.6, "AChaMax": 100, "W": -617.5,
	})
	put("803[1].", map[string]float64{
		"ID": 803, "L": 90, "NStr": 2, "NStrCon": 2, "ModTmpMax": 23.5, "ModTmpMaxStr": 1, "ModTmpMin": 23.2, "ModTmpMinStr": 1, "ModTmpAvg": 23.4,
		"StrVMax": 13.252, "StrVMaxStr": 2, "StrVMin": 13.251, "StrVMinStr": 1, "StrVAvg": 13.252, "StrAMax": -21.3, "StrAMaxStr": 2, "StrAMin": -25.3, "StrAMinStr": 1,
		"StrAAvg": -23.3, "NCellBal": 4,
	})
	put("713[1].", map[string]float64{"ID": 713, "L": 7, "WHRtg": 2560, "SoC": 87.5, "SoH": 98, "Sta": 1})
	for n := range 2 {
		f := float64(n)
		put(fmt.Sprintf("803[1].%d.", n+1), map[string]float64{
			"StrNMod": 1, "StrSt": 3, "StrSoC": 87.5 - f/10, "StrSoH": 98, "StrA": -25.3 + 4*f, "StrCellVMax": 3.315 + f/1000, "StrCellVMin": 3.312 + f/1000,
			"StrCellVAvg": 3.314 + f/1000, "StrModTmpMax": 23.5, "StrModTmpMin": 23.2, "StrModTmpAvg": 23.4, "StrEvt1": 4 * f,
		})
		put(fmt.Sprintf("804[%d].", n+1), map[string]float64{
			"ID": 804, "L": 62, "Idx": f + 1, "NMod": 1, "St": 3, "NCellBal": 2, "SoC": 87.5 - f/10, "DoD": 12.5 + f/10, "NCyc": 300 + f, "SoH": 98, "A": -25.3 + 4*f,
			"V": 13.251 + f/1000, "CellVMax": 3.315 + f/1000, "CellVMin": 3.312 + f/1000, "CellVAvg": 3.314 + f/1000, "ModTmpMax": 23.5, "ModTmpMaxMod": 1,
			"ModTmpMin": 23.2, "ModTmpMinMod": 1, "ModTmpAvg": 23.4, "Evt1": 4 * f,
		})
		put(fmt.Sprintf("804[%d].1.", n+1), map[string]float64{
			"ModNCell": 4, "ModSoC": 87.5 - f/10, "ModSoH": 98, "ModCellVMax": 3.315 + f/1000, "ModCellVMaxCell": 4, "ModCellVMin": 3.312 + f/1000, "ModCellVMinCell": 1,
			"ModCellVAvg": 3.314 + f/1000, "ModCellTmpMax": 23.5, "ModCellTmpMin": 23.2, "ModCellTmpAvg": 23.4,
		})
		put(fmt.Sprintf("805[%d].", n+1), map[string]float64{
			"ID": 805, "L": 58, "StrIdx": f + 1, "ModIdx": 1, "NCell": 4, "SoC": 87.5 - f/10, "DoD": 12.5 + f/10, "SoH": 98, "NCyc": 300 + f, "V": 13.251 + f/1000,
			"CellVMax": 3.315 + f/1000, "CellVMaxCell": 4, "CellVMin": 3.312 + f/1000, "CellVMinCell": 1, "CellVAvg": 3.314 + f/1000,
			"CellTmpMax": 23.5, "CellTmpMin": 23.2, "CellTmpAvg": 23.4, "NCellBal": 2,
		})
		want[fmt.Sprintf("805[%d].SN", n+1)] = readPoint{text: fmt.Sprintf("SN-%d", n+1)}
		for c := range 4 {
			prefix := fmt.Sprintf("805[%d].%d.", n+1, c+1)
			want[prefix+"CellV"] = readPoint{value: 3.312 + float64(c+n)/1000, unit: "V"}
			want[prefix+"CellTmp"] = readPoint{value: 23.5 - float64(c)/10, unit: "C"}
			want[prefix+"CellSt"] = readPoint{value: float64(c & 1)}
		}
	}
	return want
}
