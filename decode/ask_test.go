package decode_test

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"packlink/decode"
	"packlink/mapping"
	"packlink/transport"
)

// canQuestions are the messages of mappings that are asked for on a CAN bus.
func canQuestions(t *testing.T, table *mapping.Compiled) (asked []*mapping.Program) {
	t.Helper()
	for i := range table.Programs {
		if p := &table.Programs[i]; p.CAN != nil && p.CAN.Ask != nil {
			asked = append(asked, p)
		}
	}
	if len(asked) == 0 {
		t.Fatalf("%s asks nothing", table.Name)
	}
	return asked
}

// TestQuestionsAreKnown holds that a question which is built is recognised on the
// bus, says nothing of any pack, and is not taken for another one.
func TestQuestionsAreKnown(t *testing.T) {
	for _, name := range []string{"canopen-battery", "../fixtures/mapping/good/ask.yaml", "../fixtures/mapping/good/iso-tp.yaml"} {
		table := compiled(t, name)
		for _, p := range canQuestions(t, table) {
			address := uint32(5)
			if p.CAN.AddressWidth == 0 {
				address = 0
			}
			f, err := decode.QuestionFrame(p, address)
			if err != nil || f.ID != p.CAN.Ask.ID|address || f.Medium != transport.CAN || f.Direction != transport.Sent {
				t.Errorf("%s: the question for %s is %+v, %v", name, p.Name, f, err)
				continue
			}
			other, short, elsewhere := kept(&f), kept(&f), kept(&f)
			other.Data[1] ^= 0xFF
			short.Data = short.Data[:1]
			elsewhere.Flags ^= transport.Extended
			d := decode.NewDecoder(table, "bus")
			for _, c := range []struct {
				frame *transport.Frame
				want  decode.Outcome
			}{{&f, decode.Decoded}, {&other, decode.Unknown}, {&short, decode.Unknown}, {&elsewhere, decode.Unknown}} {
				if got := d.Decode(c.frame); got != c.want || d.Packs() != 0 {
					t.Errorf("%s: the question %X#% X is %v and %d packs, want %v", p.Name, c.frame.ID, c.frame.Data, got, d.Packs(), c.want)
				}
			}
		}
	}
}

// TestQuestionFrames holds the bytes of questions: of an SDO upload (from
// memory), of a single frame of ISO 15765-2 with its filling (from memory), and of a
// request of SAE J1939, whose id is that of the pgn 59904 in published lists, by the
// arithmetic of the Linux kernel's Documentation/networking/j1939.rst; its payload
// from memory.
func TestQuestionFrames(t *testing.T) {
	for _, c := range []struct {
		mapping string
		address uint32
		id      uint32
		data    []byte
	}{
		{"../fixtures/mapping/good/ask.yaml", 0x11, 0x611, []byte{0x40, 0x60, 0x60, 0, 0, 0, 0, 0}},
		{"../fixtures/mapping/good/ask-pgn.yaml", 0x21, 0x18EA21F9, []byte{0xF7, 0xFE, 0}},
		{"../fixtures/mapping/good/iso-tp.yaml", 0, 0x7E0, []byte{3, 0x22, 0xF1, 0x90, 0xCC, 0xCC, 0xCC, 0xCC}},
	} {
		f, err := decode.QuestionFrame(&compiled(t, c.mapping).Programs[0], c.address)
		if err != nil || f.ID != c.id || !bytes.Equal(f.Data, c.data) {
			t.Errorf("%s: %X#% X, %v; want %X#% X", c.mapping, f.ID, f.Data, err, c.id, c.data)
		}
	}
	var noRoom *decode.NoRoomError
	if _, err := decode.QuestionFrame(&compiled(t, "canopen-battery").Programs[0], 128); !errors.As(err, &noRoom) {
		t.Errorf("node 128, of which there is none, gives %v", err)
	}
	for address, sound := range map[uint32]bool{0: true, 253: true, 254: false, 255: false, 256: false} {
		f, err := decode.QuestionFrame(&compiled(t, "../fixtures/mapping/good/ask-pgn.yaml").Programs[0], address)
		if sound != (err == nil) || !sound && !errors.As(err, &noRoom) || sound && f.ID>>8&0xFF != address {
			t.Errorf("the question to node %d is %X, %v", address, f.ID, err)
		}
	}
	if _, err := decode.QuestionFrame(&compiled(t, "nmea2000-battery").Programs[0], 1); err == nil {
		t.Error("there is a question for a message that is sent unasked")
	}
}

// TestFlowControlIsPassedOver holds that what the reader says while an answer
// travels is known, and says nothing.
func TestFlowControlIsPassedOver(t *testing.T) {
	d := decode.NewDecoder(compiled(t, "../fixtures/mapping/good/iso-tp.yaml"), "bus")
	f := transport.Frame{Time: 1, Medium: transport.CAN, ID: 0x7E0, Data: []byte{0x30, 0, 0}}
	if got := d.Decode(&f); got != decode.Decoded || d.Packs() != 0 {
		t.Errorf("flow control is %v and makes %d packs", got, d.Packs())
	}
}

// TestRequestsReachPacks holds which packs a parameter group asks, whoever sends it:
// those at its destination, or all. Each such frame is known, and says nothing.
func TestRequestsReachPacks(t *testing.T) {
	c := compiled(t, "../fixtures/mapping/good/ask-pgn.yaml")
	q, err := decode.NewQuestions(c, []uint32{0x21, 0x22})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []struct {
		id    uint32
		data  string
		asked string
		known bool
	}{
		{0x18EA21F9, "\xF7\xFE\x00", "electrical power of 21 ", true},
		{0x0CEA2203, "\xF7\xFE\x00", "electrical power of 22 ", true},
		{0x18EAFFF9, "\xF7\xFE\x00", "electrical power of 21 electrical power of 22 ", true},
		{0x18EA23F9, "\xF7\xFE\x00", "", true},                                   // another device
		{0x18EA21F9, "\xF6\xFE\x00", "", false},                                  // another group
		{0x18EB21F9, "\xF7\xFE\x00", "", false},                                  // no request
		{0x18EFFFF9, "\x30\xFF\x01", "whole pack of 21 whole pack of 22 ", true}, // the payload of the answer has the address
		{0x18EF21F9, "\x30\xFF\x01", "whole pack of 21 whole pack of 22 ", true}, // to the device that speaks for the packs
		{0x18EF22F9, "\x30\xFF\x01", "", true},
	} {
		f := transport.Frame{Time: 1, Medium: transport.CAN, ID: v.id, Flags: transport.Extended, Data: []byte(v.data)}
		asked := ""
		q.Hear(&f, func(address uint32, p *mapping.Program) { asked += fmt.Sprintf("%s of %X ", p.Name, address) })
		d := decode.NewDecoder(c, "bus")
		outcome := d.Decode(&f)
		if asked != v.asked || (outcome == decode.Decoded) != v.known || d.Packs() != 0 {
			t.Errorf("%08X#% X asks %q, want %q; it is %v, and makes %d packs", v.id, v.data, asked, v.asked, outcome, d.Packs())
		}
	}
}

// TestRequestOfLongMessage holds that a question is one frame, however its answer
// travels.
func TestRequestOfLongMessage(t *testing.T) {
	p := &compiled(t, "../fixtures/mapping/good/ask-pgn.yaml").Programs[1]
	if f, err := decode.QuestionFrame(p, 2); err != nil || f.ID != 0x18EFFFF9 || string(f.Data) != "\x30\xFF\x01" {
		t.Errorf("the question is %08X#% X, %v", f.ID, f.Data, err)
	}
}

const isoTPByPGN = `
{name: a, can: {pgn: 0xDA00, transfer: iso-tp}, ask: {pgn: 0xEF00, source: 0xF9, hex: 22 F1 90}, length: 9, fields: [{at: 8, as: u8, is: soc_pct}], examples: [{hex: "", gives: {}, source: s}]}`

// TestQuestionByISOTPAndPGN holds that a question travels as a single frame of ISO
// 15765-2 where its answer travels by that too, and is known so.
func TestQuestionByISOTPAndPGN(t *testing.T) {
	c := table(t, 29, isoTPByPGN)
	f, err := decode.QuestionFrame(&c.Programs[0], 0x21)
	if err != nil || f.ID != 0x18EF21F9 || !bytes.Equal(f.Data[:4], []byte{3, 0x22, 0xF1, 0x90}) {
		t.Errorf("the question is %08X#% X, %v", f.ID, f.Data, err)
	}
	if d := decode.NewDecoder(c, "bus"); d.Decode(&f) != decode.Decoded || d.Packs() != 0 {
		t.Errorf("the question is not known")
	}
}
