package decode_test

import (
	"bytes"
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
