package canbus

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"packlink/transport"
	"packlink/transport/canbus/guest/job"
)

// needGuest skips a test that needs a kernel with CAN. In the guest it never
// does.
func needGuest(t testing.TB) {
	t.Helper()
	if os.Getenv(job.Marker) == "" {
		t.Skip("needs a kernel with vcan0: CGO_ENABLED=0 go test -exec 'go run packlink/transport/canbus/guest' ./transport/canbus")
	}
}

// onBus is the endpoint of an interface.
func onBus(name string) transport.Endpoint {
	return transport.Endpoint{Scheme: "can", Address: name}
}

// hear listens to an interface.
func hear(t testing.TB, name string) (*socket, *events) {
	t.Helper()
	told := newEvents()
	bus, err := Listen(onBus(name), told.note)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { closeAll(t, bus) })
	return bus.(*socket), told
}

// cansend lets can-utils put frames on an interface.
func cansend(t testing.TB, name string, frames ...string) {
	t.Helper()
	for _, f := range frames {
		if text, err := exec.Command("cansend", name, f).CombinedOutput(); err != nil {
			t.Errorf("cansend %s %s: %v: %s", name, f, err, text)
		}
	}
}

// witness is a candump that writes down what it sees on an interface.
type witness struct {
	command *exec.Cmd
	done    chan struct{}
	mu      sync.Mutex
	lines   []string
}

// watch starts a witness, and waits until it sees frames.
func watch(t testing.TB, name string) *witness {
	t.Helper()
	w := &witness{command: exec.Command("candump", "-L", name), done: make(chan struct{})}
	out, err := w.command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	before := listenersOf(t, name)
	if err := w.command.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		defer close(w.done)
		for lines := bufio.NewScanner(out); lines.Scan(); {
			w.mu.Lock()
			_, frame, _ := strings.Cut(lines.Text(), name+" ")
			w.lines = append(w.lines, frame)
			w.mu.Unlock()
		}
	}()
	waitUntil(t, func() bool { return listenersOf(t, name) > before })
	t.Cleanup(func() {
		w.command.Process.Kill()
		<-w.done
		w.command.Wait()
	})
	return w
}

// listenersOf counts the sockets that hear all frames of an interface.
func listenersOf(t testing.TB, name string) int {
	t.Helper()
	text, err := os.ReadFile("/proc/net/can/rcvlist_all")
	if err != nil {
		t.Fatal(err)
	}
	return strings.Count(string(text), " "+name+" ")
}

// saw gives what the witness saw, once that is as many frames.
func (w *witness) saw(t testing.TB, frames int) string {
	t.Helper()
	var all string
	waitUntil(t, func() bool {
		w.mu.Lock()
		defer w.mu.Unlock()
		all = strings.Join(w.lines, " ")
		return len(w.lines) >= frames
	})
	return all
}

// inject writes frames to an interface past this package.
func inject(t testing.TB, name string, frames ...[]byte) {
	t.Helper()
	i, err := findInterface(name)
	if err != nil {
		t.Fatal(err)
	}
	fd, err := openRaw(i.Index, false)
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(fd)
	for _, f := range frames {
		if _, err := unix.Write(fd, f); err != nil {
			t.Fatal(err)
		}
	}
}

// errorFrame is an error frame as the kernel makes it.
func errorFrame(class uint32, data ...byte) []byte {
	var b [fdSize]byte
	f := transport.Frame{ID: class | wireError, Data: append(data, make([]byte, 8-len(data))...)}
	return b[:encodeWire(&b, &f)]
}

// numbered is a frame that holds a number.
func numbered(n int) []byte {
	var b [fdSize]byte
	f := transport.Frame{ID: 0x123, Data: []byte{byte(n), byte(n >> 8)}}
	return b[:encodeWire(&b, &f)]
}

// dump is a frame as a witness would write it, with S for one that this machine
// sent and L for one after a loss.
func dump(f *transport.Frame) string {
	text := fmt.Sprintf("%03X#", f.ID)
	if f.Flags&(transport.Extended|transport.BusError) != 0 {
		text = fmt.Sprintf("%08X#", f.ID)
	}
	switch {
	case f.Flags&transport.Remote != 0:
		text += "R"
	case f.Flags&transport.FD != 0:
		text += fmt.Sprintf("#0%X", f.Data)
	default:
		text += fmt.Sprintf("%X", f.Data)
	}
	if f.Direction == transport.Sent {
		text += " S"
	}
	if f.Flags&transport.Lost != 0 {
		text += " L"
	}
	return text
}

// next receives a frame, as dump writes it.
func next(t testing.TB, bus transport.Receiver) string {
	t.Helper()
	var f transport.Frame
	if err := bus.Receive(&f); err != nil {
		t.Fatal(err)
	}
	if late := time.Since(time.Unix(0, f.Time)); late < 0 || late > time.Minute {
		t.Errorf("a frame has a time that is %s ago", late)
	}
	return dump(&f)
}
