package modbus

import (
	"bytes"
	"io"
	"net"
	"testing"
	"testing/synctest"
	"time"
)

// ask makes one request over a pipe.
func ask(t *testing.T, conn net.Conn) {
	t.Helper()
	if response, err := exchange(conn, probe); err != nil || !bytes.Equal(response, probeResponse) {
		t.Fatalf("got % X, %v", response, err)
	}
}

// lives tells whether the server still holds a connection, without a request.
func lives(conn net.Conn) bool {
	conn.SetReadDeadline(time.Now().Add(time.Millisecond))
	_, err := conn.Read(make([]byte, 1))
	conn.SetReadDeadline(time.Time{})
	return err != io.EOF
}

// TestSilentClientIsDroppedLate: in time that is not real.
func TestSilentClientIsDroppedLate(t *testing.T) {
	units := fixtureUnits(t)
	synctest.Test(t, func(t *testing.T) {
		server := servePipes(t, units)
		conn := server.dial(t)
		for range 3 { // each request gives a whole IdleTimeout more
			time.Sleep(IdleTimeout - time.Second)
			ask(t, conn)
		}
		time.Sleep(IdleTimeout - time.Second)
		if !lives(conn) {
			t.Error("it was dropped too early")
		}
		time.Sleep(2 * time.Second)
		if c := server.Counters(); lives(conn) || c.Dropped[Idle] != 1 || c.Open != 0 {
			t.Errorf("it still lives: %+v", c)
		}
		server.stop(t)
	})
}

// TestTrickleIsDropped: bytes that trickle in do not prolong a request, and a
// request that is whole in time does no harm to the next.
func TestTrickleIsDropped(t *testing.T) {
	units := fixtureUnits(t)
	synctest.Test(t, func(t *testing.T) {
		server := servePipes(t, units)
		conn := server.dial(t)
		for range 2 {
			send(t, conn, probe[:4])
			time.Sleep(FrameTimeout - time.Millisecond)
			send(t, conn, probe[4:])
			expectBytes(t, conn, probeResponse)
		}
		for i := range 4 {
			send(t, conn, probe[i:i+1])
			time.Sleep(FrameTimeout * 3 / 10)
		}
		if c := server.Counters(); lives(conn) || c.Dropped[HalfFrame] != 1 {
			t.Errorf("got %+v", c)
		}
		server.stop(t)
	})
}

// TestSecondHalfFrameHasItsOwnTime: the rest of a segment is a request of its own.
func TestSecondHalfFrameHasItsOwnTime(t *testing.T) {
	units := fixtureUnits(t)
	synctest.Test(t, func(t *testing.T) {
		server := servePipes(t, units)
		conn := server.dial(t)
		send(t, conn, probe[:6])
		time.Sleep(FrameTimeout - time.Millisecond)
		go conn.Write(append(bytes.Clone(probe[6:]), probe[:6]...))
		expectBytes(t, conn, probeResponse)
		time.Sleep(FrameTimeout - time.Millisecond)
		send(t, conn, probe[6:])
		expectBytes(t, conn, probeResponse)
		conn.Close()
		server.stop(t)
	})
}

func TestClientThatDoesNotReadIsDropped(t *testing.T) {
	units := fixtureUnits(t)
	synctest.Test(t, func(t *testing.T) {
		server := servePipes(t, units)
		conn := server.dial(t)
		send(t, conn, probe)
		time.Sleep(WriteTimeout + lenience + time.Millisecond)
		if c := server.Counters(); lives(conn) || c.Dropped[Unread] != 1 {
			t.Errorf("got %+v", c)
		}
		server.stop(t)
	})
}

// TestTornConnectionIsCounted: a client that resets the connection.
func TestTornConnectionIsCounted(t *testing.T) {
	server := serveFixtures(t)
	conn := server.dial(t)
	send(t, conn, probe)
	expectBytes(t, conn, probeResponse)
	if err := conn.(*net.TCPConn).SetLinger(0); err != nil {
		t.Fatal(err)
	}
	conn.Close()
	for end := time.Now().Add(patience); server.Counters().Open > 0 && time.Now().Before(end); {
		time.Sleep(time.Millisecond)
	}
	if c := server.Counters(); c.Dropped[Broken] != 1 || c.Open != 0 {
		t.Errorf("got %+v", c)
	}
}

// TestLongestSilentGivesWay fills the server: then the clients that never asked
// give way first, and after them the one whose last request is longest ago.
func TestLongestSilentGivesWay(t *testing.T) {
	units := fixtureUnits(t)
	synctest.Test(t, func(t *testing.T) {
		server := servePipes(t, units)
		conns := make([]net.Conn, MaxConnections)
		for i := range conns {
			conns[i] = server.dial(t)
			time.Sleep(time.Millisecond)
		}
		for i := 2; i < len(conns); i++ { // 0 and 1 never ask, 2 asks again last
			ask(t, conns[i])
			time.Sleep(time.Millisecond)
		}
		ask(t, conns[2])
		for newcomers, gone := range []int{0, 1, 3, 4} {
			if !lives(conns[gone]) {
				t.Errorf("connection %d went too early", gone)
			}
			time.Sleep(time.Millisecond)
			newcomer := server.dial(t)
			synctest.Wait()
			ask(t, newcomer)
			c := server.Counters()
			if lives(conns[gone]) || c.Open != MaxConnections || c.Dropped[Crowded] != uint64(newcomers+1) {
				t.Errorf("connection %d did not go: %+v", gone, c)
			}
		}
		if !lives(conns[2]) || !lives(conns[5]) {
			t.Error("a client that asked lately had to go")
		}
		server.stop(t)
	})
}

// lateConn takes a second to notice that it was closed.
type lateConn struct{ net.Conn }

func (c lateConn) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	if err != nil {
		time.Sleep(time.Second)
	}
	return n, err
}

// TestServeWaitsForTheLast: when Serve returns, no conversation goes on.
func TestServeWaitsForTheLast(t *testing.T) {
	units := fixtureUnits(t)
	synctest.Test(t, func(t *testing.T) {
		server := servePipes(t, units)
		mine, its := net.Pipe()
		server.listener.(*pipeListener).conns <- lateConn{its}
		ask(t, mine)
		server.stop(t)
		if open := server.Counters().Open; open != 0 {
			t.Errorf("%d connections are still served", open)
		}
	})
}
