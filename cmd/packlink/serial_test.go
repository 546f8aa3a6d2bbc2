package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

const questionsMapping = "../../fixtures/mapping/good/serial-ascii-hex.yaml"

// answering is a pack behind a serial device server: it answers the questions of
// a mapping for one address by what the mapping's examples say.
func answering(t *testing.T, c *mapping.Compiled, address uint32) (where string) {
	t.Helper()
	var s, other pack.Status
	d := decode.NewDecoder(c, "")
	for i := range c.Programs {
		e := c.Programs[i].Examples[0]
		d.Decode(&transport.Frame{Time: 1, Medium: transport.Serial, Data: append(e.Asks, e.Payload...)})
	}
	d.Status(0, 1, &s)
	d.Status(1, 1, &other)
	s.Put(pack.SOC, other.Value(pack.SOC))
	s.Address = address
	questions, err := decode.NewQuestions(c, []uint32{address})
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { listener.Close() })
	go func() {
		conn, err := listener.Accept()
		if err != nil {
			return
		}
		defer conn.Close()
		buffer := make([]byte, 64)
		for {
			n, err := conn.Read(buffer)
			if err != nil {
				return
			}
			heard := transport.Frame{Medium: transport.Serial, Data: buffer[:n]}
			questions.Hear(&heard, func(_ uint32, p *mapping.Program) {
				_ = decode.NewWriter(c).Frames(p, &s, func(f *transport.Frame) error {
					_, err := conn.Write(f.Data)
					return err
				})
			})
		}
	}()
	return listener.Addr().String()
}

// TestBridgeAsksQuestions has the bridge ask a pack over a serial device server,
// and another one that does not answer.
func TestBridgeAsksQuestions(t *testing.T) {
	table, err := soundMapping(questionsMapping)
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	data, err := os.ReadFile(questionsMapping)
	if err != nil {
		t.Fatal(err)
	}
	write := func(name, text string) string {
		path := filepath.Join(folder, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	write("pack.yaml", string(data))
	p, err := loadPlan(write("bridge.yaml", fmt.Sprintf(`
sources: [{name: shed, from: "tcp:%s?timeout=100ms", mapping: ./pack.yaml, poll: true, addresses: [2, 5]}]
outputs: [{to: "stdout:"}]
`, answering(t, table, 2))))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var log strings.Builder
	s, done := newSource(&p.sources[0], func() {}), make(chan struct{})
	go func() { s.run(ctx, &log); close(done) }()
	var packs []pack.Status
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(5 * time.Millisecond) {
		packs, _ = s.statuses(nil, time.Now().UnixNano())
		if len(packs) == 2 && packs[0].Has(pack.Voltage) && packs[0].Has(pack.SOC) {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("%d packs are heard", len(packs))
		}
	}
	cancel()
	<-done
	if v := packs[0].Value(pack.Voltage).Decimal().String(); packs[0].Address != 2 || v != "52.8" || packs[0].Mapping != "serial-ascii-hex" {
		t.Errorf("address %d of %s has %s V", packs[0].Address, packs[0].Mapping, v)
	}
	if packs[1].Address != 5 || packs[1].Fresh {
		t.Errorf("the pack that does not answer is %+v", packs[1].Address)
	}
}

// TestBridgeRefusesPolls holds what cannot be asked.
func TestBridgeRefusesPolls(t *testing.T) {
	for says, source := range map[string]string{
		"its packs speak unasked":   `{name: a, from: "tcp:127.0.0.1:1", mapping: ../../fixtures/mapping/good/serial-escapes.yaml, poll: true, addresses: [1]}`,
		"has addresses 1 to 15":     `{name: a, from: "tcp:127.0.0.1:1", mapping: ../../fixtures/mapping/good/serial-ascii-hex.yaml, poll: true, addresses: [16]}`,
		"address is 255":            `{name: a, from: "can:can0", mapping: ../../fixtures/mapping/good/ask-pgn.yaml, poll: true, addresses: [33, 255]}`,
		"address is 254":            `{name: a, from: "can:can0", mapping: ../../fixtures/mapping/good/ask-pgn.yaml, poll: true, addresses: [254]}`,
		`needs "addresses"`:         `{name: a, from: "tcp:127.0.0.1:1", mapping: ../../fixtures/mapping/good/serial-ascii-hex.yaml, poll: true}`,
		"begins with serial:, tcp:": `{name: a, from: "can:can0", mapping: ../../fixtures/mapping/good/serial-ascii-hex.yaml}`,
	} {
		absolute, _ := filepath.Abs("../../fixtures")
		path := filepath.Join(t.TempDir(), "bridge.yaml")
		text := "sources: [" + strings.ReplaceAll(source, "../../fixtures", absolute) + "]\noutputs: [{to: \"stdout:\"}]\n"
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := loadPlan(path); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("got %v, want an error that says %s", err, says)
		}
	}
}
