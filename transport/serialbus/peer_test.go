//go:build linux

package serialbus

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"packlink/transport"
)

// The peer of these tests is a server made with libmodbus (Debian libmodbus-dev).

var buildPeer = sync.OnceValues(func() (string, error) {
	header := exec.Command("cc", "-xc", "-fsyntax-only", "-I/usr/include/modbus", "-")
	header.Stdin = bytes.NewReader([]byte("#include <modbus.h>\n"))
	if err := header.Run(); err != nil {
		return "", fmt.Errorf("cc with libmodbus: %w", err)
	}
	return compile("testdata/peer.c")
})

// compile makes a program in a folder that goes away with the tests.
func compile(source string) (program string, err error) {
	if peerFolder, err = os.MkdirTemp("", "peer"); err != nil {
		return "", err
	}
	program = filepath.Join(peerFolder, "peer")
	text, err := exec.Command("cc", "-Wall", "-Wextra", "-Werror", "-O1", "-I/usr/include/modbus", "-o", program, source, "-lmodbus").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("cc: %w: %s", err, text)
	}
	return program, nil
}

// startPeer runs the server until the test ends.
func startPeer(t testing.TB, arguments ...string) {
	t.Helper()
	program, err := buildPeer()
	needPeer(t, err, "apt-get install gcc libc6-dev libmodbus-dev")
	command := exec.Command(program, arguments...)
	output, err := command.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := command.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { command.Process.Kill(); command.Wait() })
	if line, err := bufio.NewReader(output).ReadString('\n'); err != nil || line != "ready\n" {
		t.Fatalf("the peer %v said %q, %v", arguments, line, err)
	}
}

// cable joins the far ends of two ports, as wires do; each chunk is passed on as tear
// gives it.
func cable(t testing.TB, a, b *farEnd, tear func(io.Writer, []byte)) {
	var running sync.WaitGroup
	pass := func(from, to *farEnd) {
		buffer := make([]byte, 4096)
		for {
			n, err := from.Read(buffer)
			if err != nil {
				return
			}
			tear(to, buffer[:n])
		}
	}
	running.Go(func() { pass(a, b) })
	running.Go(func() { pass(b, a) })
	t.Cleanup(func() { a.Close(); b.Close(); running.Wait() })
}

func straight(to io.Writer, data []byte) { to.Write(data) }

// torn passes bytes on as some adapters do: a few at a time, 16 ms apart.
func torn(to io.Writer, data []byte) {
	for len(data) > 0 {
		n := min(len(data), 31)
		to.Write(data[:n])
		data = data[n:]
		time.Sleep(16 * time.Millisecond)
	}
}

// rtuPeer starts the server on a serial line and gives the path of the other end.
func rtuPeer(t testing.TB, baud, unit int, tear func(io.Writer, []byte)) string {
	t.Helper()
	theirs, ours := plug(t, ""), plug(t, "")
	cable(t, theirs, ours, tear)
	startPeer(t, "rtu", theirs.port, strconv.Itoa(baud), strconv.Itoa(unit))
	return ours.port
}

// tcpPeer starts the server on TCP and gives its address.
func tcpPeer(t testing.TB, unit int) string {
	t.Helper()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	_, port, _ := net.SplitHostPort(free.Addr().String())
	free.Close()
	startPeer(t, "tcp", port, strconv.Itoa(unit))
	return "127.0.0.1:" + port
}

// poll polls until the test ends.
func poll(t testing.TB, at string, plan Plan) (*follower, *Poller) {
	t.Helper()
	f := newFollower()
	p, err := TransmitPolls(background(t), endpoint(t, at), plan, f.report)
	if err != nil {
		t.Fatal(err)
	}
	f.follow(t, p)
	return f, p
}

// peerPlan asks for what the peer has, and for 27 registers that it refuses.
func peerPlan() Plan {
	return Plan{Units: []byte{17}, Timeout: 500 * time.Millisecond, Blocks: []Block{
		{Function: 3, From: 0, Count: 100, Every: 100 * time.Millisecond},
		{Function: 4, From: 100, Count: 10, Every: 100 * time.Millisecond},
	}}
}

// checkPeer holds the exchanges with the peer to what it serves.
func checkPeer(t *testing.T, f *follower, p *Poller) {
	t.Helper()
	holding, input := withCRC(17, 3, 0, 0, 0, 73), withCRC(17, 4, 0, 100, 0, 10)
	counts := map[string]int{}
	eventually(t, "the readable registers are polled in two requests", func() bool {
		for len(f.frames) > 0 {
			request := <-f.frames
			if request.Direction != transport.Sent {
				t.Fatalf("a frame without its request: %+v % X", request.Frame, request.data)
			}
			reply := f.next(t)
			if reply.Direction != transport.Received || reply.Flags != 0 {
				t.Fatalf("% X was followed by %+v % X", request.data, reply.Frame, reply.data)
			}
			if bytes.Equal(reply.data, answerTo(request.data)) {
				counts[string(request.data)]++
			} else if !bytes.Equal(reply.data, refusal(request.data, 2)) {
				t.Fatalf("% X was answered % X", request.data, reply.data)
			}
		}
		return counts[string(holding)] >= 5 && counts[string(input)] >= 5
	})
	u := p.Counts().Units[0]
	if len(u.Unreadable) != 1 || u.Unreadable[0] != (Registers{3, 73, 27}) || u.Asked-u.Outcomes[Answered]-u.Outcomes[Refused] > 1 {
		t.Errorf("got %+v", u)
	}
}

func TestPeerOnSerialLine(t *testing.T) {
	for _, baud := range []int{9600, 115200} {
		t.Run(strconv.Itoa(baud), func(t *testing.T) {
			port := rtuPeer(t, baud, 17, straight)
			f, p := poll(t, fmt.Sprintf("serial:%s?baud=%d", port, baud), peerPlan())
			checkPeer(t, f, p)
		})
	}
}

// TestPeerBehindSlowAdapter has the bytes torn and held back.
func TestPeerBehindSlowAdapter(t *testing.T) {
	port := rtuPeer(t, 9600, 17, torn)
	f, p := poll(t, "serial:"+port, peerPlan())
	checkPeer(t, f, p)
}

func TestPeerOnTCP(t *testing.T) {
	f, p := poll(t, "modbus-tcp:"+tcpPeer(t, 17), peerPlan())
	checkPeer(t, f, p)
}

// TestPeerBehindDeviceServer has the serial line behind a server of raw bytes.
func TestPeerBehindDeviceServer(t *testing.T) {
	theirs := plug(t, "")
	startPeer(t, "rtu", theirs.port, "9600", "17")
	address := serveRaw(t, theirs)
	f, p := poll(t, "tcp:"+address, peerPlan())
	checkPeer(t, f, p)
}

// serveRaw passes bytes between a port and the one client of a listener.
func serveRaw(t *testing.T, far *farEnd) string {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var running sync.WaitGroup
	running.Go(func() {
		conn, err := listener.Accept()
		if err != nil {
			return
		}
		running.Go(func() { io.Copy(conn, far) })
		io.Copy(far, conn)
	})
	t.Cleanup(func() { listener.Close(); far.Close(); running.Wait() })
	return listener.Addr().String()
}

// TestPeerBesideDeadUnit polls a unit that is there and one that is not.
func TestPeerBesideDeadUnit(t *testing.T) {
	port := rtuPeer(t, 9600, 17, straight)
	plan := Plan{Units: []byte{17, 18}, Timeout: 150 * time.Millisecond, Blocks: []Block{{Function: 3, Count: 20, Every: 50 * time.Millisecond}}}
	f, p := poll(t, "serial:"+port, plan)
	eventually(t, "the dead unit is reported and the other answers", func() bool {
		return f.saw(EventSilent) == 1 && p.Counts().Units[0].Outcomes[Answered] > 20
	})
	if c := p.Counts(); !c.Units[1].Silent || c.Units[0].Silent || c.Units[1].Outcomes[NoAnswer] < 3 {
		t.Errorf("got %+v", c)
	}
}
