package decode_test

import (
	"bytes"
	"errors"
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
// memory), and of a single frame of ISO 15765-2 with its filling (from memory).
func TestQuestionFrames(t *testing.T) {
	for _, c := range []struct {
		mapping string
		address uint32
		id      uint32
		data    []byte
	}{
		{"../fixtures/mapping/good/ask.yaml", 0x11, 0x611, []byte{0x40, 0x60, 0x60, 0, 0, 0, 0, 0}},
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
