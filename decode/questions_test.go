package decode_test

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"packlink/decode"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

// TestQuestionsOfLibrary asks every built-in mapping whatever it can be asked, at two
// addresses of which one answers, torn in two and behind noise, and wants exactly the
// questions to that one found.
func TestQuestionsOfLibrary(t *testing.T) {
	tried := 0
	for _, name := range library.Names() {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		for i := range c.Programs {
			if p := &c.Programs[i]; p.Ask != nil || p.CAN != nil && p.CAN.Ask != nil {
				tried++
				askFor(t, c, p)
			}
		}
	}
	if tried < 10 {
		t.Errorf("only %d questions are tried", tried)
	}
}

func askFor(t *testing.T, c *mapping.Compiled, p *mapping.Program) {
	t.Helper()
	const mine, others = 2, 3
	q, err := decode.NewQuestions(c, []uint32{mine})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	hear := func(f transport.Frame) {
		q.Hear(&f, func(address uint32, p *mapping.Program) { got = append(got, fmt.Sprintf("%s of %d", p.Name, address)) })
	}
	own, err := decode.QuestionFrame(p, mine)
	if err != nil {
		t.Fatal(err)
	}
	foreign, err := decode.QuestionFrame(p, others)
	if err != nil {
		t.Fatal(err)
	}
	if own.Medium == transport.Serial {
		hear(transport.Frame{Medium: transport.Serial, Data: []byte{0x55, 0x00}})
		half := own
		own.Data, half.Data = own.Data[:len(own.Data)/2], own.Data[len(own.Data)/2:]
		hear(own)
		hear(half)
	} else {
		hear(own)
	}
	if len(got) == 0 {
		t.Errorf("%s: the question for %q is not found", c.Name, p.Name)
	}
	if found := len(got); own.ID != foreign.ID || own.Medium == transport.Serial && c.AsksByAddress() {
		if hear(foreign); len(got) != found && !bytes.Equal(own.Data, foreign.Data) {
			t.Errorf("%s: a question to another pack is taken: %v", c.Name, got)
		}
	}
}

// TestAddressBeyondItsByte holds that no question goes to another pack than was meant,
// because the address of that one does not fit.
func TestAddressBeyondItsByte(t *testing.T) {
	c := tableOf(t, `{packlink: 1, name: test, title: t, source: [{title: s}],
bus: {serial: {parts: [{part: start, hex: AA}, {part: kind, as: u8}, {part: data, size: 1}, {part: end, hex: 55}]}},
messages: [{name: a, frame: {kind: 1}, ask: {kind: 2, data: [address], every: 1s}, fields: [{at: 0, as: u8, is: soc_pct}], examples: [{hex: AA 01 58 55, gives: {soc_pct: 88}, source: s}]}]}`)
	if sent, err := decode.Question(&c.Programs[0], 255, nil); err != nil || !bytes.Equal(sent, []byte{0xAA, 2, 255, 0x55}) {
		t.Errorf("pack 255 is asked by % X, %v", sent, err)
	}
	var noRoom *decode.NoRoomError
	if sent, err := decode.Question(&c.Programs[0], 256, nil); !errors.As(err, &noRoom) || len(sent) > 0 {
		t.Errorf("pack 256 is asked by % X, %v; want that its address does not fit", sent, err)
	}
}
