package canbus

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"packlink/transport"
)

// peer plays an adapter at the other end of a pty.
type peer struct {
	t      testing.TB
	path   string // of the port; a link, as /dev/serial/by-id has them
	answer func(command string) string
	stop   chan struct{}
	done   chan struct{}

	mu     sync.Mutex
	master *os.File
	heard  []string
}

// obedient answers as an adapter does that carries out everything.
func obedient(command string) string {
	switch {
	case command == "F":
		return "F00\r"
	case strings.HasPrefix(command, "t") || strings.HasPrefix(command, "r"):
		return "z\r"
	case strings.HasPrefix(command, "T") || strings.HasPrefix(command, "R"):
		return "Z\r"
	}
	return "\r"
}

// except answers as an obedient adapter but for one command.
func except(command, answer string) func(string) string {
	return func(c string) string {
		if c == command {
			return answer
		}
		return obedient(c)
	}
}

// startPeer plugs an adapter in that answers like this.
func startPeer(t testing.TB, answer func(command string) string) *peer {
	p := &peer{t: t, path: filepath.Join(t.TempDir(), "adapter"), answer: answer}
	p.plug()
	t.Cleanup(p.unplug)
	return p
}

// plug makes a new pty under the same path.
func (p *peer) plug() {
	p.t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		p.t.Fatal(err)
	}
	if err := os.Symlink(slave.Name(), p.path); err != nil {
		p.t.Fatal(err)
	}
	p.mu.Lock()
	p.master, p.heard = master, nil
	p.mu.Unlock()
	p.stop, p.done = make(chan struct{}), make(chan struct{})
	go p.run(slave)
}

// unplug hangs the port up.
func (p *peer) unplug() {
	if p.stop == nil {
		return
	}
	close(p.stop)
	<-p.done
	p.stop = nil
	os.Remove(p.path)
}

// run reads commands and answers them until the peer is unplugged. It keeps the
// other end open, so that the port can be opened more than once.
func (p *peer) run(slave *os.File) {
	defer close(p.done)
	defer p.master.Close()
	defer slave.Close()
	var rest []byte
	chunk := make([]byte, 4096)
	for {
		select {
		case <-p.stop:
			return
		default:
		}
		fds := []unix.PollFd{{Fd: int32(p.master.Fd()), Events: unix.POLLIN}}
		if n, err := unix.Poll(fds, 5); n <= 0 || err != nil || p.answer == nil {
			continue
		}
		n, err := p.master.Read(chunk)
		if err != nil {
			return
		}
		rest = p.take(append(rest, chunk[:n]...))
	}
}

func (p *peer) take(stream []byte) (rest []byte) {
	for {
		end := bytes.IndexByte(stream, '\r')
		if end < 0 {
			return stream
		}
		command := string(stream[:end])
		stream = stream[end+1:]
		p.mu.Lock()
		p.heard = append(p.heard, command)
		p.mu.Unlock()
		p.say(p.answer(command))
	}
}

// say writes to the port.
func (p *peer) say(text string) {
	if _, err := p.master.WriteString(text); err != nil {
		p.t.Error(err)
	}
}

// commands are what was heard so far, with blanks between.
func (p *peer) commands() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Join(p.heard, " ")
}

func (p *peer) endpoint(options string) transport.Endpoint {
	p.t.Helper()
	e, err := transport.ParseEndpoint("slcan:" + p.path + "?bitrate=500000" + options)
	if err != nil {
		p.t.Fatal(err)
	}
	return e
}

// events collects what is told.
type events struct {
	all chan Event
}

func newEvents() *events { return &events{all: make(chan Event, 100)} }

func (e *events) note(event Event) { e.all <- event }

// kinds are the kinds told so far.
func (e *events) kinds() (all []EventKind) {
	for len(e.all) > 0 {
		all = append(all, (<-e.all).Kind)
	}
	return all
}
