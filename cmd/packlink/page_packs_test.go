package main

import (
	"fmt"
	"maps"
	"net"
	"path/filepath"
	"regexp"
	"slices"
	"sync"
	"testing"
	"time"
)

// packs are what two packs say on a line: each message until it is taken away.
type packs struct {
	mu       sync.Mutex
	messages map[string][]byte
}

// says lets a pack say a message from now on; without data it falls silent on that.
func (p *packs) says(address, id byte, data ...byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	key := string([]byte{address, id})
	if len(data) == 0 {
		delete(p.messages, key)
		return
	}
	message := append([]byte{0xA5, address, id, byte(len(data))}, data...)
	sum := byte(0)
	for _, b := range message {
		sum += b
	}
	p.messages[key] = append(message, sum)
}

// The messages of testdata/page.yaml.
func (p *packs) terminals(address byte, deciamperes int16, alarms byte) {
	p.says(address, 1, byte(deciamperes>>8), byte(deciamperes), 0x03, 0x6E, alarms)
}

func (p *packs) cells(address byte, centivolts uint16) {
	p.says(address, 2, byte(centivolts>>8), byte(centivolts), 0x0C, 0xE4, 0x0C, 0xE5, 0x0C, 0xF1, 0x0C, 0xE4)
}

func (p *packs) names(address byte, model, serial string) {
	p.says(address, 3, fmt.Appendf(nil, "%s%s", padded(model, 32), padded(serial, 24))...)
}

func padded(text string, size int) []byte {
	return append([]byte(text), make([]byte, size-len(text))...)
}

// everything is all messages, one behind the other.
func (p *packs) everything() (said []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, key := range slices.Sorted(maps.Keys(p.messages)) {
		said = append(said, p.messages[key]...)
	}
	return said
}

// speak is a serial device server on whose line the packs say everything ten times a second.
func (p *packs) speak(t *testing.T) (address string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { listener.Close() })
	go func() {
		for c, err := listener.Accept(); err == nil; c, err = listener.Accept() {
			for err == nil {
				time.Sleep(100 * time.Millisecond)
				_, err = c.Write(p.everything())
			}
		}
	}()
	return listener.Addr().String()
}

// bridge shows the packs at an address, and again there after what is done meanwhile.
func (p *packs) bridge(t *testing.T) (web string, again func(meanwhile func())) {
	t.Helper()
	mapping, err := filepath.Abs("testdata/page.yaml")
	if err != nil {
		t.Fatal(err)
	}
	line, folder := p.speak(t), t.TempDir()
	start := func(web string) (log *logged, stop func()) {
		return startStoppable(t, folder, fmt.Sprintf(`sources: [{name: line, from: "tcp:%s", mapping: %s}]
bank: {name: locker}
outputs: [{to: "http:%s"}]
`, line, mapping, web), "live page")
	}
	log, stop := start("127.0.0.1:0")
	web = regexp.MustCompile(`http://(\S+)/`).FindStringSubmatch(log.String())[1]
	return web, func(meanwhile func()) {
		stop()
		meanwhile()
		start(web)
	}
}
