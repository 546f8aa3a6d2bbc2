package main

import (
	"bytes"
	"context"
	"sync"
	"time"

	"packlink/mapping"
	"packlink/transport"
)

// packetPause is the time between two packets of a broadcast transfer, 50 to 200 ms
// by SAE J1939-21 (from memory).
const packetPause = 50 * time.Millisecond

// transfer is a message that is sent as a broadcast transfer, of one of the things that
// are shown.
type transfer struct {
	shown   int
	message *mapping.Program
}

// transfers are those that are due or asked for and wait for the bus: each once, however often
// it is due.
type transfers struct {
	queue chan transfer
	mu    sync.Mutex // guards waits
	waits map[transfer]bool
}

func newTransfers(p *outputPlan) *transfers {
	return &transfers{queue: make(chan transfer, len(p.units)*len(p.table.Programs)), waits: make(map[transfer]bool)}
}

func (t *transfers) add(next transfer) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.waits[next] {
		t.waits[next] = true
		t.queue <- next
	}
}

func (t *transfers) begin(next transfer) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.waits[next] = false
}

// transferring sends one transfer after another until ctx ends. Nothing else waits for the
// pauses between their packets.
func (o *canOutput) transferring(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case next := <-o.transfers.queue:
			o.transfers.begin(next)
			o.carry(ctx, next)
		}
	}
}

// carry sends what is known as the transfer begins, packet by packet.
func (o *canOutput) carry(ctx context.Context, t transfer) {
	var packets []transport.Frame
	o.send(t.shown, t.message, func(f *transport.Frame) error {
		packet := *f
		packet.Data = bytes.Clone(f.Data)
		packets = append(packets, packet)
		return nil
	})
	for i := range packets {
		if i > 0 && !pause(ctx, packetPause) {
			return
		}
		_ = o.put(&packets[i]) // it tells of a bus that takes nothing
	}
}

// pause waits; it is false when ctx ended first.
func pause(ctx context.Context, d time.Duration) bool {
	select {
	case <-ctx.Done():
		return false
	case <-time.After(d):
		return true
	}
}
