package modbus

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"
)

// exchange sends one request and reads its response, both with header.
func exchange(conn io.ReadWriter, request []byte) ([]byte, error) {
	if _, err := conn.Write(request); err != nil {
		return nil, err
	}
	response := make([]byte, maxADU)
	if _, err := io.ReadFull(conn, response[:headerBytes]); err != nil {
		return nil, err
	}
	size := uncountedBytes + int(response[4])<<8 + int(response[5])
	_, err := io.ReadFull(conn, response[headerBytes:size])
	return response[:size], err
}

func TestRequestsByteByByteOverTCP(t *testing.T) {
	conn := serveFixtures(t).dial(t)
	for range 3 {
		for i := range probe {
			send(t, conn, probe[i:i+1])
			time.Sleep(time.Millisecond) // a segment of its own
		}
		expectBytes(t, conn, probeResponse)
	}
}

// TestPipelinedRequests sends far more requests at once than the buffer holds.
func TestPipelinedRequests(t *testing.T) {
	server := serveFixtures(t)
	conn := server.dial(t)
	var requests, responses []byte
	for i := range 500 {
		requests = append(append(requests, byte(i>>8), byte(i)), probe[2:]...)
		responses = append(append(responses, byte(i>>8), byte(i)), probeResponse[2:]...)
	}
	send(t, conn, requests)
	expectBytes(t, conn, responses)
	if got := server.Counters().Requests; got != 500 {
		t.Errorf("%d requests were counted, want 500", got)
	}
}

// TestHalfFrameDelaysNobody: while one client keeps silent in the middle of a
// request, and another floods the server with requests whose responses it does
// not read, a third one is served.
func TestHalfFrameDelaysNobody(t *testing.T) {
	server := serveFixtures(t)
	half, deaf, second := server.dial(t), server.dial(t), server.dial(t)
	send(t, half, probe[:5])
	deaf.SetWriteDeadline(time.Now().Add(300 * time.Millisecond))
	flood := bytes.Repeat(probe, 1000)
	for {
		if _, err := deaf.Write(flood); err != nil {
			break
		}
	}
	for range 100 {
		send(t, second, probe)
		expectBytes(t, second, probeResponse)
	}
	send(t, half, probe[5:])
	expectBytes(t, half, probeResponse)
}

func TestGarbageEndsOnlyItsConnection(t *testing.T) {
	server := serveFixtures(t)
	good, bad := server.dial(t), server.dial(t)
	send(t, good, probe)
	expectBytes(t, good, probeResponse)
	send(t, bad, bytes.Repeat([]byte{0xA5}, 10))
	expectEnd(t, bad)
	send(t, good, probe)
	expectBytes(t, good, probeResponse)
	if got := server.Counters().Dropped[WrongProtocol]; got != 1 {
		t.Errorf("%d connections were dropped for their protocol id, want 1", got)
	}
}

// TestClientThatSendsAndCloses: a client that closes its side after its requests
// gets all responses.
func TestClientThatSendsAndCloses(t *testing.T) {
	conn := serveFixtures(t).dial(t)
	send(t, conn, bytes.Repeat(probe, 30))
	if err := conn.(*net.TCPConn).CloseWrite(); err != nil {
		t.Fatal(err)
	}
	expectBytes(t, conn, bytes.Repeat(probeResponse, 30))
	expectEnd(t, conn)
}

func TestServeEndsWithItsContext(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := serve(t, fixtureUnits(t), listener)
	conns := []net.Conn{server.dial(t), server.dial(t), server.dial(t)}
	for _, conn := range conns {
		send(t, conn, probe)
		expectBytes(t, conn, probeResponse)
	}
	send(t, conns[1], probe[:3])
	server.stop(t)
	for _, conn := range conns {
		expectEnd(t, conn)
	}
	if _, err := net.Dial("tcp", listener.Addr().String()); err == nil {
		t.Error("it still listens")
	}
	if c := server.Counters(); c.Open != 0 || c.Accepted != 3 || c.Dropped != [dropReasons]uint64{} {
		t.Errorf("got %+v", c)
	}
}

func TestServeTellsThatItsListenerWasClosed(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := serve(t, fixtureUnits(t), listener)
	listener.Close()
	if err := <-server.ended; !errors.Is(err, net.ErrClosed) || !strings.Contains(err.Error(), "the listener was closed") {
		t.Errorf("got %v", err)
	}
	server.cancel()
}

// failingListener cannot hand over its first connections.
type failingListener struct {
	net.Listener
	failures int
}

func (l *failingListener) Accept() (net.Conn, error) {
	if l.failures > 0 {
		l.failures--
		return nil, errors.New("too many open files")
	}
	return l.Listener.Accept()
}

func TestServeOutlivesFailedAccepts(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := serve(t, fixtureUnits(t), &failingListener{listener, 2})
	conn := server.dial(t)
	send(t, conn, probe)
	expectBytes(t, conn, probeResponse)
	if got := server.Counters().AcceptFailures; got != 2 {
		t.Errorf("%d failures were counted, want 2", got)
	}
	server.stop(t)
}

// TestServeEndsWhileItPauses: the pause after a failed accept ends with ctx.
func TestServeEndsWhileItPauses(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	pause(ctx, time.Hour)
}

// TestCountersAreReadWhileTheyCount is for the race detector, and for the sums.
func TestCountersAreReadWhileTheyCount(t *testing.T) {
	server := serveFixtures(t)
	var clients sync.WaitGroup
	for range 4 {
		conn := server.dial(t)
		clients.Go(func() {
			for _, v := range vectors(t) {
				if v.answered() {
					conn.Write(v.request)
					io.ReadFull(conn, make([]byte, len(v.response)))
					server.Counters()
				}
			}
		})
	}
	clients.Wait()
	want := Counters{Accepted: 4, Requests: 4 * 72, Open: 4}
	want.Exceptions = [12]uint64{1: 4 * 21, 2: 4 * 11, 3: 4 * 16, 11: 4 * 5}
	if got := server.Counters(); got != want {
		t.Errorf("got %+v, want %+v", got, want)
	}
}
