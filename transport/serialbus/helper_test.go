package serialbus

import (
	"context"
	"encoding/hex"
	"io"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"packlink/fixtures/beside"
	"packlink/transport"
)

// peerFolder holds the compiled peer, if a test needed it.
var peerFolder string

func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m, goleak.Cleanup(func(code int) {
		if peerFolder != "" {
			os.RemoveAll(peerFolder)
		}
		os.Exit(code)
	}))
}

var (
	_ transport.Receiver = (*Listener)(nil)
	_ transport.Receiver = (*Poller)(nil)
	_ transport.Sender   = (*Transmitter)(nil)
)

// patience is how long a test waits before it gives up.
const patience = 20 * time.Second

func endpoint(t testing.TB, text string) transport.Endpoint {
	t.Helper()
	e, err := transport.ParseEndpoint(text)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	data, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	return data
}

// withCRC appends the checksum.
func withCRC(data ...byte) []byte {
	crc := crc16(data)
	return append(append([]byte(nil), data...), byte(crc), byte(crc>>8))
}

// answerTo is the answer of a unit whose registers hold their own address plus 0x4000.
func answerTo(frame []byte) []byte {
	from, count := int(frame[2])<<8|int(frame[3]), int(frame[4])<<8|int(frame[5])
	answer := []byte{frame[0], frame[1], byte(2 * count)}
	for r := from; r < from+count; r++ {
		answer = append(answer, byte(r>>8)+0x40, byte(r))
	}
	return withCRC(answer...)
}

func refusal(frame []byte, code byte) []byte { return withCRC(frame[0], frame[1]|exceptionFlag, code) }

// needPeer skips a test when something made by others is missing.
func needPeer(t testing.TB, err error, advice string) {
	t.Helper()
	if err != nil {
		beside.Missing(t, "a peer is missing: ", err, "; try: ", advice)
	}
}

// heardFrame is a copy of a received frame.
type heardFrame struct {
	transport.Frame
	data []byte
}

// follower receives in the background.
type follower struct {
	frames chan heardFrame
	mu     sync.Mutex
	events []Event
	ended  chan error
}

func (f *follower) report(e Event) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.events = append(f.events, e)
}

// saw counts the events of a kind.
func (f *follower) saw(kind EventKind) (n int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, e := range f.events {
		if e.Kind == kind {
			n++
		}
	}
	return n
}

func newFollower() *follower {
	return &follower{frames: make(chan heardFrame, 10000), ended: make(chan error, 1)}
}

// follow receives from r until it ends; the end of the test closes it.
func (f *follower) follow(t testing.TB, r transport.Receiver) {
	go func() {
		for {
			var frame transport.Frame
			if err := r.Receive(&frame); err != nil {
				f.ended <- err
				return
			}
			f.frames <- heardFrame{frame, append([]byte(nil), frame.Data...)}
		}
	}()
	t.Cleanup(func() {
		r.Close()
		select {
		case err := <-f.ended:
			if err != io.EOF {
				t.Errorf("receiving ended with %v, want io.EOF", err)
			}
		case <-time.After(patience):
			t.Error("Close did not end Receive")
		}
	})
}

// bytes collects frames that fit until there are n bytes.
func (f *follower) bytes(t testing.TB, n int, fits func(heardFrame) bool) (data []byte) {
	t.Helper()
	deadline := time.After(patience)
	for len(data) < n {
		select {
		case frame := <-f.frames:
			if fits(frame) {
				data = append(data, frame.data...)
			}
		case <-deadline:
			t.Fatalf("only %d of %d bytes came: % X", len(data), n, data)
		}
	}
	return data
}

func (f *follower) next(t testing.TB) heardFrame {
	t.Helper()
	select {
	case frame := <-f.frames:
		return frame
	case <-time.After(patience):
		t.Fatal("no frame came")
		return heardFrame{}
	}
}

func anything(heardFrame) bool { return true }

// eventually waits until something holds.
func eventually(t testing.TB, what string, holds func() bool) {
	t.Helper()
	for deadline := time.Now().Add(patience); !holds(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("it never came true that %s", what)
		}
	}
}

func background(t testing.TB) context.Context {
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	return ctx
}
