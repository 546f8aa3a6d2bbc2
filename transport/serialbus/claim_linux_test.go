package serialbus

import (
	"errors"
	"os/exec"
	"testing"
	"time"

	"go.bug.st/serial"

	"packlink/transport"
)

func mustOpen(t *testing.T, path string) link {
	t.Helper()
	p, err := openPort(transport.Endpoint{Scheme: "serial", Address: path}, &serial.Mode{})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestPortIsClaimed: who has a port keeps others of this program away, the superuser too,
// until it closes the port.
func TestPortIsClaimed(t *testing.T) {
	path := plug(t, "").port
	for range 2 {
		p := mustOpen(t, path)
		_, err := openPort(transport.Endpoint{Scheme: "serial", Address: path}, &serial.Mode{})
		var fault *Error
		if !errors.As(err, &fault) || fault.Kind != KindBusy {
			t.Errorf("a second opening gives %v", err)
		}
		if err := p.close(); err != nil {
			t.Error(err)
		}
	}
}

// TestThiefOfBytes: another program takes bytes away between the moment they are announced
// and the read. When it has gone, the read ends all the same, and the port can be closed.
func TestThiefOfBytes(t *testing.T) {
	far := plug(t, "")
	p := mustOpen(t, far.port)
	thief := exec.Command("cat", far.port)
	if err := thief.Start(); err != nil {
		t.Fatal(err)
	}
	read := make(chan struct{})
	go func() {
		defer close(read)
		for buffer := make([]byte, 16); ; {
			if _, err := p.read(buffer, time.Time{}); err != nil {
				return
			}
		}
	}()
	for range 100 {
		far.Write(make([]byte, 100))
		time.Sleep(5 * time.Millisecond)
	}
	thief.Process.Kill()
	thief.Wait()
	closed := make(chan struct{})
	go func() { _ = p.close(); close(closed) }()
	for _, end := range []chan struct{}{closed, read} {
		select {
		case <-end:
		case <-time.After(5 * time.Second):
			t.Fatal("a read waits for bytes that another program took, and the port cannot be closed")
		}
	}
}
