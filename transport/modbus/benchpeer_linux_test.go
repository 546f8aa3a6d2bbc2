package modbus

import (
	"bufio"
	"bytes"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"packlink/fixtures/beside"
)

// startServer starts a server that says "ready", and gives its address.
func startServer(b *testing.B, command func(port string) *exec.Cmd) (address string, pid int) {
	b.Helper()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	_, port, _ := net.SplitHostPort(free.Addr().String())
	free.Close()
	server := command(port)
	output, err := server.StdoutPipe()
	if err == nil {
		err = server.Start()
	}
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { server.Process.Kill(); server.Wait() })
	if line, err := bufio.NewReader(output).ReadString('\n'); err != nil || line != "ready\n" {
		b.Fatalf("the server said %q, %v", line, err)
	}
	return "127.0.0.1:" + port, server.Process.Pid
}

// processorTime is what a process has used, in ticks of 10 ms: user and system time, the
// 14th and 15th field of its stat file (proc(5)).
func processorTime(b *testing.B, pid int) (used time.Duration) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		b.Fatal(err)
	}
	fields := strings.Fields(string(text[bytes.LastIndexByte(text, ')'):]))
	for _, field := range fields[12:14] {
		ticks, err := strconv.Atoi(field)
		if err != nil {
			b.Fatal(err)
		}
		used += time.Duration(ticks) * 10 * time.Millisecond
	}
	return used
}

// compiled is a server in C, made of a file in testdata with Debian's libmodbus-dev.
func compiled(b *testing.B, source string) func(port string) *exec.Cmd {
	b.Helper()
	program := filepath.Join(b.TempDir(), "peer")
	text, err := exec.Command("cc", "-Wall", "-Wextra", "-Werror", "-O2", "-I/usr/include/modbus", "-o", program, filepath.Join("testdata", source), "-lmodbus").CombinedOutput()
	if err != nil {
		beside.Missing(b, "the peer cannot be built: ", err, ": ", string(text), "; try: apt-get install gcc libc6-dev libmodbus-dev")
	}
	return func(port string) *exec.Cmd { return exec.Command(program, port) }
}

// load is connections that each ask for 100 registers again and again. One loop over
// epoll drives them all, so that asking costs less than answering.
type load struct {
	pid   int // of the server
	poll  int
	asked []int     // bytes of the answer that are still to come, by file descriptor
	rates []float64 // answers per second, by turn
	total int       // answers
}

const wholeAnswer = 9 + 200

func newLoad(b *testing.B, connections int, command func(port string) *exec.Cmd) *load {
	b.Helper()
	address, pid := startServer(b, command)
	poll, err := unix.EpollCreate1(0)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { unix.Close(poll) })
	l := &load{pid: pid, poll: poll}
	for range connections {
		conn, err := net.Dial("tcp", address)
		if err != nil {
			b.Fatal(err)
		}
		file, err := conn.(*net.TCPConn).File()
		if err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { conn.Close(); file.Close() })
		fd := int(file.Fd())
		if err := unix.EpollCtl(poll, unix.EPOLL_CTL_ADD, fd, &unix.EpollEvent{Events: unix.EPOLLIN, Fd: int32(fd)}); err != nil {
			b.Fatal(err)
		}
		l.asked = append(l.asked, make([]int, max(0, fd+1-len(l.asked)))...)
		l.asked[fd] = -1
	}
	return l
}

// run asks for a time.
func (l *load) run(b *testing.B, d time.Duration) {
	open, answers, end := 0, 0, time.Now().Add(d)
	ask := func(fd int) {
		if _, err := unix.Write(fd, read100); err != nil {
			b.Fatal(err)
		}
		l.asked[fd], open = wholeAnswer, open+1
	}
	for fd, asked := range l.asked {
		if asked != 0 {
			ask(fd)
		}
	}
	events, response := make([]unix.EpollEvent, len(l.asked)), make([]byte, wholeAnswer)
	for open > 0 {
		n, err := unix.EpollWait(l.poll, events, -1)
		if err != nil && err != unix.EINTR {
			b.Fatal(err)
		}
		over := !time.Now().Before(end)
		for _, event := range events[:max(n, 0)] {
			fd := int(event.Fd)
			got, err := unix.Read(fd, response)
			if err != nil || got == 0 || got == wholeAnswer && !bytes.Equal(response[7:11], []byte{3, 200, 1, 0x90}) {
				b.Fatalf("got % X, %v", response[:max(got, 0)], err)
			}
			if l.asked[fd] -= got; l.asked[fd] > 0 {
				continue
			}
			l.asked[fd], open, answers = -1, open-1, answers+1
			if !over {
				ask(fd)
			}
		}
	}
	l.rates, l.total = append(l.rates, float64(answers)/d.Seconds()), l.total+answers
}

// report gives the median of the turns, and the processor time of the server.
func (l *load) report(b *testing.B, name string) {
	b.ReportMetric(median(slices.Clone(l.rates)), name+"-requests/s")
	b.ReportMetric(float64(processorTime(b, l.pid).Microseconds())/float64(l.total), name+"-cpu-us")
}

// BenchmarkBesideLibmodbus lets 16 connections read 100 registers from this server, from
// one made with libmodbus, and from one that does nothing but read and write: what is left
// to gain. Each is in a process of its own, in turns of a quarter of a second. Run it with
// -benchtime 20x: each turn is one of b.N.
func BenchmarkBesideLibmodbus(b *testing.B) {
	const connections, turn = 16, 250 * time.Millisecond
	ours := newLoad(b, connections, func(port string) *exec.Cmd {
		command := exec.Command(os.Args[0])
		command.Env = append(os.Environ(), serveVariable+"="+port)
		return command
	})
	theirs := newLoad(b, connections, compiled(b, "peer.c"))
	floor := newLoad(b, connections, compiled(b, "floor.c"))
	ratios, limits := make([]float64, b.N), make([]float64, b.N)
	for i := range ratios {
		ours.run(b, turn)
		theirs.run(b, turn)
		floor.run(b, turn)
		ratios[i], limits[i] = ours.rates[i]/theirs.rates[i], floor.rates[i]/theirs.rates[i]
	}
	ours.report(b, "packlink")
	theirs.report(b, "libmodbus")
	floor.report(b, "floor")
	b.ReportMetric(median(ratios), "ratio")
	b.ReportMetric(median(limits), "floor-ratio")
}

func median(all []float64) float64 {
	slices.Sort(all)
	return all[len(all)/2]
}
