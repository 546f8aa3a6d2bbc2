package modbus

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"syscall"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// serveVariable makes this test program a server at the port it says, for benchmarks that
// need one in a process of its own.
const serveVariable = "PACKLINK_BENCH_SERVER"

func TestMain(m *testing.M) {
	if port := os.Getenv(serveVariable); port != "" {
		serveForBenchmark(port)
	}
	goleak.VerifyTestMain(m)
}

// serveForBenchmark shows registers 400 to 524 of unit 1, each with its address.
func serveForBenchmark(port string) {
	words := make([]uint16, 125)
	for i := range words {
		words[i] = uint16(400 + i)
	}
	units := new(Units)
	image, err := NewImage(bench, []Block{{From: 400, Words: words}})
	if err != nil {
		panic(err)
	}
	server, err := NewServer(units, 1, nil)
	if err != nil {
		panic(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:"+port)
	if err != nil {
		panic(err)
	}
	go func() {
		for ; ; time.Sleep(time.Second) {
			units.Publish(1, image)
		}
	}()
	fmt.Println("ready")
	panic(server.Serve(context.Background(), listener))
}

// patience is how long a test waits before it gives up.
const patience = 20 * time.Second

// serving is a server that runs during a test.
type serving struct {
	*Server
	listener net.Listener
	cancel   context.CancelFunc
	ended    chan error
}

// serve runs a server whose first unit is 1, in the clear.
func serve(t testing.TB, units *Units, listener net.Listener) *serving {
	t.Helper()
	return serveSecure(t, units, listener, nil)
}

func serveSecure(t testing.TB, units *Units, listener net.Listener, security *Security) *serving {
	t.Helper()
	server, err := NewServer(units, 1, security)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	s := &serving{Server: server, listener: listener, cancel: cancel, ended: make(chan error, 1)}
	go func() { s.ended <- server.Serve(ctx, listener) }()
	return s
}

// stop ends the server, and waits for it.
func (s *serving) stop(t testing.TB) {
	t.Helper()
	s.cancel()
	if err := <-s.ended; err != nil {
		t.Errorf("serve: %v", err)
	}
}

// serveFixtures serves the fixture units on a real socket until the test ends.
func serveFixtures(t testing.TB) *serving {
	t.Helper()
	return serveTCP(t, fixtureUnits(t))
}

func serveTCP(t testing.TB, units *Units) *serving {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := serve(t, units, listener)
	t.Cleanup(func() { s.stop(t) })
	return s
}

// dial connects a client, which is closed when the test ends.
func (s *serving) dial(t testing.TB) net.Conn {
	t.Helper()
	if pipes, ok := s.listener.(*pipeListener); ok {
		return pipes.dial()
	}
	conn, err := net.Dial("tcp", s.listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	conn.SetDeadline(time.Now().Add(patience))
	t.Cleanup(func() { conn.Close() })
	return conn
}

func send(t testing.TB, conn net.Conn, data []byte) {
	t.Helper()
	if _, err := conn.Write(data); err != nil {
		t.Fatal(err)
	}
}

// expectBytes reads as many bytes as are wanted.
func expectBytes(t testing.TB, conn net.Conn, want []byte) {
	t.Helper()
	got := make([]byte, len(want))
	if n, err := io.ReadFull(conn, got); err != nil || !bytes.Equal(got, want) {
		t.Fatalf("got % X, %v; want % X", got[:n], err, want)
	}
}

// expectEnd waits until the server closes the connection. What the server did not
// read of the client's bytes turns the end into a reset.
func expectEnd(t testing.TB, conn net.Conn) {
	t.Helper()
	n, err := conn.Read(make([]byte, 1))
	if n != 0 || (err != io.EOF && !errors.Is(err, syscall.ECONNRESET)) {
		t.Fatalf("got %d bytes, %v; want the end", n, err)
	}
}

// pipeListener hands over connections inside the process, for tests in which
// the time is not real.
type pipeListener struct {
	conns chan net.Conn
	ended chan struct{}
}

func servePipes(t testing.TB, units *Units) *serving {
	return serve(t, units, &pipeListener{conns: make(chan net.Conn), ended: make(chan struct{})})
}

func (l *pipeListener) dial() net.Conn {
	client, server := net.Pipe()
	l.conns <- server
	return client
}

func (l *pipeListener) Accept() (net.Conn, error) {
	select {
	case conn := <-l.conns:
		return conn, nil
	case <-l.ended:
		return nil, net.ErrClosed
	}
}

// Close may be called twice, but not at the same time.
func (l *pipeListener) Close() error {
	select {
	case <-l.ended:
	default:
		close(l.ended)
	}
	return nil
}

func (l *pipeListener) Addr() net.Addr { return &net.TCPAddr{} }
