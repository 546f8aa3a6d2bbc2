package mapping_test

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// slot is a field of a random message: bits of some whole bytes.
type slot struct {
	base       string // u, i, sm or f
	bit, width int
	size       int // bytes
	big        bool
	quantity   string
	scale      pack.Decimal
	offset     pack.Decimal
	keys       string // further keys
}

func drawSlot(t *rapid.T, quantity string) (s slot) {
	s = slot{quantity: quantity, scale: pack.Int(1), big: rapid.Bool().Draw(t, "big")}
	switch s.base = rapid.SampledFrom([]string{"u", "i", "sm", "f"}).Draw(t, "base"); s.base {
	case "f":
		s.width = rapid.SampledFrom([]int{32, 64}).Draw(t, "float")
	case "u":
		s.width = rapid.IntRange(1, 62).Draw(t, "width")
	default:
		s.width = rapid.IntRange(2, 62).Draw(t, "width")
	}
	s.bit = rapid.IntRange(0, min(7, 64-s.width)).Draw(t, "bit")
	s.size = (s.bit + s.width + 7) / 8
	if s.width <= 32 && rapid.Bool().Draw(t, "scaled") {
		s.scale = pack.Decimal{Coef: rapid.Int64Range(1, 999).Draw(t, "scale"), Exp: int8(rapid.IntRange(-4, 0).Draw(t, "exponent"))}
		s.offset = pack.Decimal{Coef: rapid.Int64Range(-999, 999).Draw(t, "offset"), Exp: -1}
	}
	return s
}

// text is the field as a mapping file has it.
func (s *slot) text(at int) string {
	order := "little"
	if s.big {
		order = "big"
	}
	return fmt.Sprintf("      - {at: %d, bit: %d, as: %s%d, byte_order: %s, is: %q, sign: charge-positive, scale: %s, offset: %s%s}\n",
		at, s.bit, s.base, s.width, order, s.quantity, s.scale, s.offset, s.keys)
}

// draw gives the field some value that has one raw form only: no negative zero,
// no NaN, and no float that a decimal cannot hold. It returns the field's bytes.
func (s *slot) draw(t *rapid.T) []byte {
	raw := rapid.Uint64().Draw(t, "raw") >> (64 - s.width)
	switch {
	case s.base == "sm" && raw == 1<<(s.width-1):
		raw = 0
	case s.base == "f" && s.width == 32:
		raw = uint64(math.Float32bits(float32(rapid.Int64Range(-1e7, 1e7).Draw(t, "float")) / 64))
	case s.base == "f":
		raw = math.Float64bits(float64(rapid.Int64Range(-1e12, 1e12).Draw(t, "double")) / 1024)
	}
	b := make([]byte, s.size)
	for i := range s.width { // bit by bit, as the picture in docs/mapping.md counts them
		n := s.bit + i
		at := n / 8
		if s.big {
			at = s.size - 1 - at
		}
		b[at] |= byte(raw>>i&1) << (n % 8)
	}
	return b
}

// randomMessage is a message whose fields stand one behind the other: some that
// are always there, some that exclude one another, a counted list and more behind.
type randomMessage struct {
	always, either, behind []slot
	list                   slot
	most                   int
}

// derived are the quantities that a status may know though no field gave them.
var derived = map[pack.Quantity]bool{
	pack.CellMax: true, pack.CellMaxAt: true, pack.CellMin: true, pack.CellMinAt: true, pack.CellSpread: true,
	pack.Power: true, pack.NominalEnergy: true, pack.TempMax: true, pack.TempMin: true,
}

func drawMessage(t *rapid.T) (m randomMessage) {
	var names []string
	for _, q := range rapid.Permutation(numbers()).Draw(t, "quantities") {
		if !derived[q] {
			names = append(names, q.String())
		}
	}
	take := func(most int) (slots []slot) {
		for range rapid.IntRange(0, most).Draw(t, "fields") {
			slots = append(slots, drawSlot(t, names[0]))
			names = names[1:]
		}
		return slots
	}
	m.always, m.either, m.behind = take(2), take(3), take(1)
	for i := range m.either {
		m.either[i].keys = fmt.Sprintf(", when: {kind: %d}", i+1)
	}
	for i := range m.behind {
		m.behind[i].keys = ", after: n"
	}
	m.list, m.most = drawSlot(t, "cells_v[]"), rapid.IntRange(1, 3).Draw(t, "most")
	m.list.keys = ", repeat: n"
	return m
}

// text is the message as a mapping file.
func (m *randomMessage) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "      - {at: 0, as: u8, let: kind, write: 99}\n      - {at: 1, as: u8, let: n, range: [0, %d]}\n", m.most)
	at := 2
	for i := range m.always {
		b.WriteString(m.always[i].text(at))
		at += m.always[i].size
	}
	widest := 0
	for i := range m.either {
		b.WriteString(m.either[i].text(at))
		widest = max(widest, m.either[i].size)
	}
	b.WriteString(m.list.text(at + widest))
	least, behind := at+widest, 0
	for i := range m.behind {
		b.WriteString(m.behind[i].text(behind))
		behind += m.behind[i].size
	}
	return fmt.Sprintf("packlink: 1\nname: random\ntitle: t\nsource: [{title: s}]\nbus: {can: {bitrate: 250000, id_bits: 29}}\nmessages:\n"+
		"  - name: m\n    can: {id: 1}\n    length: [%d, 64]\n    fields:\n%s    examples: [{hex: \"\", gives: {}, source: none}]\n", least+behind, b.String())
}

// draw is a payload of the message in which only bits of its fields are set.
func (m *randomMessage) draw(t *rapid.T) []byte {
	kind, n := rapid.IntRange(0, len(m.either)).Draw(t, "kind"), rapid.IntRange(0, m.most).Draw(t, "n")
	b := []byte{byte(kind), byte(n)}
	for i := range m.always {
		b = append(b, m.always[i].draw(t)...)
	}
	widest := 0
	for i := range m.either {
		widest = max(widest, m.either[i].size)
	}
	room := make([]byte, widest)
	if kind == 0 {
		b[0] = 99
	} else {
		copy(room, m.either[kind-1].draw(t))
	}
	b = append(b, room...)
	for range n {
		b = append(b, m.list.draw(t)...)
	}
	for i := range m.behind {
		b = append(b, m.behind[i].draw(t)...)
	}
	return b
}

// said is what a payload says.
func said(t *rapid.T, c *mapping.Compiled, data []byte) (s pack.Status) {
	d := decode.NewDecoder(c, "test")
	if outcome := d.Decode(&transport.Frame{Time: 1, Medium: transport.CAN, Flags: transport.Extended, ID: 1, Data: data}); outcome != decode.Decoded {
		t.Fatalf("% X is %v", data, outcome)
	}
	d.Status(0, 1, &s)
	return s
}

// written is the data of the one frame that says what a status knows.
func written(c *mapping.Compiled, s *pack.Status) (data []byte, err error) {
	err = decode.NewWriter(c).Frames(&c.Programs[0], s, func(f *transport.Frame) error {
		data = append(data, f.Data...)
		return nil
	})
	return data, err
}

// heard decodes what the frames say that are written of a status.
func heard(t *rapid.T, c *mapping.Compiled, s *pack.Status) (again pack.Status) {
	d := decode.NewDecoder(c, "test")
	at := int64(0)
	err := decode.NewWriter(c).Frames(&c.Programs[0], s, func(f *transport.Frame) error {
		at++
		f.Time = at
		d.Decode(f)
		return nil
	})
	if err != nil || d.Packs() != 1 {
		t.Fatalf("%d packs are heard, %v", d.Packs(), err)
	}
	d.Status(0, at, &again)
	return again
}

// TestRoundTrip draws messages and payloads: what a payload says is written as
// the same bytes, and read from the frames of a bus as the same values.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMessage(t)
		file, err := mapping.Load("random.yaml", []byte(m.text()), nil)
		if err != nil {
			t.Fatalf("%v\n%s", err, m.text())
		}
		c, err := mapping.Compile(file)
		if err != nil {
			t.Fatal(err)
		}
		data := m.draw(t)
		s := said(t, c, data)
		back, err := written(c, &s)
		if err != nil || !bytes.Equal(back, data) {
			t.Fatalf("% X is written back as % X, %v\n%s", data, back, err, m.text())
		}
		same(t, &s, heard(t, c, &s), m.text())
	})
}

func same(t *rapid.T, want *pack.Status, got pack.Status, text string) {
	for q := range pack.Count {
		if q.Row().Kind.List() || !want.Has(q) {
			continue
		}
		if a, b := want.Value(q).Decimal(), got.Value(q).Decimal(); !got.Has(q) || a.Cmp(b) != 0 {
			t.Errorf("%v is %v, want %v\n%s", q, b, a, text)
		}
	}
	a, b := want.Elements(pack.Cells), got.Elements(pack.Cells)
	if len(a) != len(b) {
		t.Fatalf("%d elements, want %d\n%s", len(b), len(a), text)
	}
	for i := range a {
		if a[i].Decimal().Cmp(b[i].Decimal()) != 0 {
			t.Errorf("element %d is %v, want %v\n%s", i, b[i].Decimal(), a[i].Decimal(), text)
		}
	}
}

// TestPartsRoundTrip draws lists that come in parts: every part is written, and
// together they are the list.
func TestPartsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		list := drawSlot(t, "cells_v[]")
		elements, first, parts := rapid.IntRange(1, 5).Draw(t, "elements"), rapid.IntRange(0, 9).Draw(t, "first"), rapid.IntRange(1, 7).Draw(t, "parts")
		list.keys = fmt.Sprintf(", page: part, repeat: %d, write: 0", elements)
		text := fmt.Sprintf("packlink: 1\nname: random\ntitle: t\nsource: [{title: s}]\nbus: {can: {bitrate: 250000, id_bits: 29}}\nmessages:\n"+
			"  - name: m\n    can: {id: 1}\n    length: 64\n    fields:\n      - {at: 0, as: u8, let: part, range: [%d, %d]}\n%s    examples: [{hex: \"\", gives: {}, source: none}]\n",
			first, first+parts, list.text(1))
		file, err := mapping.Load("random.yaml", []byte(text), nil)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		c, err := mapping.Compile(file)
		if err != nil {
			t.Fatal(err)
		}
		var all pack.Status
		for part := range rapid.IntRange(1, parts).Draw(t, "written") {
			data := []byte{byte(first + part)}
			for range elements {
				data = append(data, list.draw(t)...)
			}
			s := said(t, c, append(data, make([]byte, 64-len(data))...))
			for i, v := range s.Elements(pack.Cells) {
				if v.Trust != 0 {
					all.PutElement(pack.Cells, i, v)
				}
			}
		}
		same(t, &all, heard(t, c, &all), text)
	})
}
