//go:build linux

package serialbus

import (
	"bytes"
	"errors"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.bug.st/serial"

	"packlink/fixtures/beside"
	"packlink/transport"
)

// farEnd is the far end of a serial line: the master of a pty, which can be read
// with a deadline.
type farEnd struct {
	*os.File
	port string // the path of the port
}

// plug makes a serial line whose port has a path that stays the same.
func plug(t testing.TB, path string) *farEnd {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	opened, err := serial.Open(slave.Name(), &serial.Mode{}) // raw from the start: a new pty echoes what arrives
	if err != nil {
		t.Fatal(err)
	}
	opened.Close()
	fd, err := syscall.Dup(int(master.Fd()))
	if err != nil {
		t.Fatal(err)
	}
	syscall.SetNonblock(fd, true)
	far := &farEnd{os.NewFile(uintptr(fd), "far end"), slave.Name()}
	master.Close()
	t.Cleanup(func() { far.Close(); slave.Close() })
	if path != "" {
		os.Remove(path)
		if err := os.Symlink(slave.Name(), path); err != nil {
			t.Fatal(err)
		}
		far.port = path
	}
	return far
}

// unplug ends the line: whoever has the port open gets a hang-up.
func (f *farEnd) unplug(path string) {
	os.Remove(path)
	f.Close()
}

// everything reads what leaves the port within a time.
func (f *farEnd) everything(within time.Duration) (data []byte) {
	f.SetReadDeadline(time.Now().Add(within))
	buffer := make([]byte, 4096)
	for {
		n, err := f.Read(buffer)
		data = append(data, buffer[:n]...)
		if err != nil && !errors.Is(err, syscall.EIO) {
			return data
		}
		if err != nil { // nobody has the port open
			return data
		}
	}
}

func listen(t testing.TB, at string) *follower {
	t.Helper()
	f := newFollower()
	l, err := Listen(background(t), endpoint(t, at), f.report)
	if err != nil {
		t.Fatal(err)
	}
	f.follow(t, l)
	return f
}

func TestListenHearsAllBytes(t *testing.T) {
	for _, options := range []string{"", "?baud=9600&frame=8N1", "?baud=115200&frame=8E1", "?baud=250000&frame=8N2"} {
		far := plug(t, "")
		before := time.Now().UnixNano()
		f := listen(t, "serial:"+far.port+options)
		want := make([]byte, 3000)
		for i := range want {
			want[i] = byte(i * 7) // each value, also those that a terminal takes for commands
		}
		if _, err := far.Write(want); err != nil {
			t.Fatal(err)
		}
		got := f.bytes(t, len(want), func(h heardFrame) bool {
			if h.Medium != transport.Serial || h.Direction != transport.Received || h.Flags != 0 || h.Time < before || h.Time > time.Now().UnixNano() {
				t.Errorf("got %+v", h.Frame)
			}
			return true
		})
		if !bytes.Equal(got, want) {
			t.Errorf("%s: the bytes came out changed", options)
		}
	}
}

// TestListenIsSilent: not one byte leaves, whatever arrives.
func TestListenIsSilent(t *testing.T) {
	far := plug(t, "")
	f := listen(t, "serial:"+far.port)
	dice := rand.New(rand.NewPCG(1, 2))
	sent := 0
	for i := range 300 {
		data := make([]byte, 1+dice.IntN(200))
		for j := range data {
			data[j] = byte(dice.Uint32())
		}
		if i%3 == 0 { // requests to any unit, by any function
			data = withCRC(byte(dice.IntN(256)), byte(dice.IntN(128)), 0, byte(i), 0, byte(1+dice.IntN(125)))
		}
		if i%7 == 0 { // what a terminal, a modem or a CAN adapter would answer
			data = []byte("\x05\x11\x13\x1b[c\x1b[6nAT\r\nV\rO\r\x03\x04\x1a")
		}
		if _, err := far.Write(data); err != nil {
			t.Fatal(err)
		}
		sent += len(data)
	}
	f.bytes(t, sent, anything)
	if got := far.everything(300 * time.Millisecond); len(got) != 0 {
		t.Errorf("%d bytes left the port: % X", len(got), got)
	}
}

// TestListenerHasNoWayToSend holds the type to its promise.
func TestListenerHasNoWayToSend(t *testing.T) {
	var l any = new(Listener)
	if _, can := l.(transport.Sender); can {
		t.Error("a listener can send")
	}
	if _, can := l.(interface{ Write([]byte) (int, error) }); can {
		t.Error("a listener can write")
	}
}

// TestUnplugAndReplug pulls the port out three times and plugs another one in
// behind the same path.
func TestUnplugAndReplug(t *testing.T) {
	path := filepath.Join(t.TempDir(), "usb-adapter-if00-port0")
	far := plug(t, path)
	f := listen(t, "serial:"+path)
	for round := 1; round <= 3; round++ {
		far.Write([]byte("first"))
		f.bytes(t, 5, anything)
		far.unplug(path)
		eventually(t, "the loss is reported", func() bool { return f.saw(EventGone) == round })
		time.Sleep(50 * time.Millisecond)
		far = plug(t, path)
		eventually(t, "the return is reported", func() bool { return f.saw(EventBack) == round })
		far.Write([]byte("again"))
		if h := f.next(t); h.Flags != transport.Lost {
			t.Errorf("the first frame after the return has flags %v, want lost", h.Flags)
		}
		f.drain()
	}
	if f.saw(EventGone) != 3 || f.saw(EventBack) != 3 {
		t.Errorf("events: %v", f.events)
	}
}

// drain forgets the frames that wait.
func (f *follower) drain() {
	for {
		select {
		case <-f.frames:
		case <-time.After(50 * time.Millisecond):
			return
		}
	}
}

// TestFailingPortIsNotOpenedInALoop has a port that hangs up as soon as it is opened.
func TestFailingPortIsNotOpenedInALoop(t *testing.T) {
	path := filepath.Join(t.TempDir(), "flaky")
	far := plug(t, path)
	f := listen(t, "serial:"+path)
	far.unplug(path)
	begun := time.Now()
	for time.Since(begun) < 1500*time.Millisecond {
		far = plug(t, path)
		time.Sleep(20 * time.Millisecond)
		far.unplug(path)
	}
	if n := f.saw(EventGone); n > 6 {
		t.Errorf("the loss of a port that flickers was reported %d times in 1.5 s", n)
	}
}

func TestCloseEndsReceive(t *testing.T) {
	far := plug(t, "")
	l, err := Listen(background(t), endpoint(t, "serial:"+far.port), nil)
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { var f transport.Frame; ended <- l.Receive(&f) }()
	time.Sleep(50 * time.Millisecond)
	l.Close()
	select {
	case <-ended:
	case <-time.After(patience):
		t.Fatal("Receive went on")
	}
	if err := l.Close(); err != nil {
		t.Errorf("closing again: %v", err)
	}
}

func checkOpenFault(t *testing.T, at string, kind Kind, says, try string) {
	t.Helper()
	_, err := Listen(background(t), endpoint(t, at), nil)
	var fault *Error
	if !errors.As(err, &fault) {
		t.Errorf("%s: got %v", at, err)
		return
	}
	if fault.Kind != kind || !strings.Contains(fault.Error(), says) || !strings.Contains(fault.Try, try) {
		t.Errorf("%s: got %s: %v, try: %s; want %s: %s, try: %s", at, fault.Kind, fault, fault.Try, kind, says, try)
	}
}

func TestOpenFaults(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	checkOpenFault(t, "serial:"+folder+"/none", KindMissing, "there is no port", "packlink adapters")
	checkOpenFault(t, "serial:"+file, KindNotSerial, "not a serial port", "packlink adapters")
	checkOpenFault(t, "serial:"+folder, KindNotSerial, "not a serial port", "packlink adapters")
	checkOpenFault(t, "serial:/dev/null", KindNotSerial, "not a serial port", "packlink adapters")
	checkOpenFault(t, "tcp:127.0.0.1:1", KindUnreachable, "refused", "nc -vz 127.0.0.1 1")
}

// TestNotAllowed opens ports as a user who may not, and a port that is taken.
func TestNotAllowed(t *testing.T) {
	far := plug(t, "")
	if err := os.Chmod(far.port, 0o660); err != nil {
		t.Fatal(err)
	}
	asNobody(t, func() {
		detail, try := transport.PermissionAdvice(far.port)
		checkOpenFault(t, "serial:"+far.port, KindPermission, detail, try)
	})
	if err := os.Chmod(far.port, 0o600); err != nil {
		t.Fatal(err)
	}
	asNobody(t, func() { checkOpenFault(t, "serial:"+far.port, KindPermission, "you may not", "ls -l "+far.port) })
	if err := os.Chmod(far.port, 0o666); err != nil {
		t.Fatal(err)
	}
	listen(t, "serial:"+far.port)
	asNobody(t, func() {
		checkOpenFault(t, "serial:"+far.port, KindBusy, "another program has the port", "lsof "+far.port)
	})
}

// TestManyFilesOpen has the port's descriptor beyond 1023, where the library's read
// panics.
func TestManyFilesOpen(t *testing.T) {
	far := plug(t, "")
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil || limit.Cur < 1200 {
		beside.Missing(t, "this process may open ", limit.Cur, " files only; try: ulimit -n 2048; ", err)
	}
	for range 1100 {
		f, err := os.Open(os.DevNull)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
	}
	checkOpenFault(t, "serial:"+far.port, KindDescriptors, "more than a thousand files", "")
}

// TestSend puts frames on a line.
func TestSend(t *testing.T) {
	far := plug(t, "")
	s, err := OpenForSending(background(t), endpoint(t, "serial:"+far.port+"?baud=115200"))
	if err != nil {
		t.Fatal(err)
	}
	want := withCRC(1, 3, 0, 0, 0, 10)
	if err := s.Send(&transport.Frame{Medium: transport.Serial, Data: want}); err != nil {
		t.Fatal(err)
	}
	if got := far.everything(200 * time.Millisecond); !bytes.Equal(got, want) {
		t.Errorf("got % X, want % X", got, want)
	}
	if err := s.Send(&transport.Frame{Medium: transport.CAN, Data: want}); err == nil {
		t.Error("a CAN frame was sent on a serial line")
	}
	s.Close()
	if err := s.Send(&transport.Frame{Medium: transport.Serial, Data: want}); err == nil {
		t.Error("a frame was sent on a closed line")
	}
	if _, err := OpenForSending(background(t), endpoint(t, "serial:/dev/none")); !errors.As(err, new(*Error)) {
		t.Errorf("got %v", err)
	}
}

// TestSendGivesUp has nobody who reads: the system takes some 20 KiB and then blocks.
func TestSendGivesUp(t *testing.T) {
	far := plug(t, "")
	s, err := OpenForSending(background(t), endpoint(t, "serial:"+far.port+"?baud=4000000"))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	f := &transport.Frame{Medium: transport.Serial, Data: make([]byte, 4096)}
	for range 100 {
		if err = s.Send(f); err != nil {
			break
		}
	}
	var fault *Error
	if !errors.As(err, &fault) || fault.Kind != KindStuck {
		t.Fatalf("got %v, want an error of kind stuck", err)
	}
	if again := s.Send(f); !errors.Is(again, fault) {
		t.Errorf("the next frame: %v, want the same error", again)
	}
	far.Close() // frees what hangs in the system
}

// TestCloseEndsSend closes while the system blocks.
func TestCloseEndsSend(t *testing.T) {
	far := plug(t, "")
	s, err := OpenForSending(background(t), endpoint(t, "serial:"+far.port+"?baud=50"))
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- s.Send(&transport.Frame{Medium: transport.Serial, Data: make([]byte, 1<<20)}) }()
	time.Sleep(100 * time.Millisecond)
	s.Close()
	select {
	case err := <-ended:
		if !errors.Is(err, fs.ErrClosed) {
			t.Errorf("got %v, want that it was closed", err)
		}
	case <-time.After(patience):
		t.Error("Send went on")
	}
	far.Close()
}
