package modbus

import (
	"bytes"
	"io"
	"net"
	"testing"
	"testing/synctest"
	"time"
)

// probe is a request that shows that a connection still works, and its response.
var (
	probe         = []byte{0xAB, 0xCD, 0, 0, 0, 6, 1, 0x03, 0, 107, 0, 1}
	probeResponse = []byte{0xAB, 0xCD, 0, 0, 0, 5, 1, 0x03, 2, 0x02, 0x2B}
)

// TestVectorsAsPDU sends the vectors of one message through the upper floor.
func TestVectorsAsPDU(t *testing.T) {
	server, sent := &Server{units: fixtureUnits(t), first: 1}, 0
	for _, v := range vectors(t) {
		if size, _ := nextADU(v.request); !v.answered() || size != len(v.request) {
			continue
		}
		sent++
		got := server.units.Answer(server.addressee(v.request[6]), v.request[headerBytes:], nil)
		if want := v.response[headerBytes:]; !bytes.Equal(got, want) {
			t.Errorf("%s: got % X, want % X", v.name, got, want)
		}
	}
	if sent < 60 {
		t.Errorf("only %d vectors are one message", sent)
	}
}

// TestVectorsOverTCP sends each vector at once.
func TestVectorsOverTCP(t *testing.T) {
	server := serveFixtures(t)
	for _, v := range vectors(t) {
		t.Run(v.name, func(t *testing.T) {
			conn := server.dial(t)
			send(t, conn, v.request)
			expectBytes(t, conn, v.response)
			switch {
			case v.answered():
				send(t, conn, probe)
				expectBytes(t, conn, probeResponse)
			case v.expect == "close":
				expectEnd(t, conn)
			}
		})
	}
}

// TestVectorsInPieces sends each vector byte by byte and in pieces of all sizes
// that matter, and lets the time pass for the half frames.
func TestVectorsInPieces(t *testing.T) {
	all, units := vectors(t), fixtureUnits(t)
	for _, size := range []int{1, 2, 5, 7, 11, 64} {
		for _, v := range all {
			synctest.Test(t, func(t *testing.T) { sendInPieces(t, units, v, size) })
		}
	}
}

// sendInPieces runs one vector in time that is not real.
func sendInPieces(t *testing.T, units *Units, v vector, size int) {
	server := servePipes(t, units)
	conn := server.dial(t)
	received := make(chan []byte)
	go func() {
		data, _ := io.ReadAll(conn)
		received <- data
	}()
	sendPieces(conn, v.request, size)
	want := v.response
	if v.answered() {
		sendPieces(conn, probe, size)
		want = append(bytes.Clone(want), probeResponse...)
		synctest.Wait()
		conn.Close()
	}
	if got := <-received; !bytes.Equal(got, want) {
		t.Errorf("%s in pieces of %d: got % X, want % X", v.name, size, got, want)
	}
	synctest.Wait()
	c := server.Counters()
	if half := c.Dropped[HalfFrame] == 1; half != (v.expect == "half-frame") {
		t.Errorf("%s in pieces of %d: dropped %v", v.name, size, c.Dropped)
	}
	if closed := c.Dropped[WrongProtocol]+c.Dropped[WrongLength] == 1; closed != (v.expect == "close") {
		t.Errorf("%s in pieces of %d: dropped %v", v.name, size, c.Dropped)
	}
	server.stop(t)
}

// sendPieces sends data, as far as the other side takes it.
func sendPieces(conn net.Conn, data []byte, size int) {
	for len(data) > 0 {
		piece := data[:min(size, len(data))]
		if _, err := conn.Write(piece); err != nil {
			return
		}
		data = data[len(piece):]
		time.Sleep(10 * time.Millisecond)
	}
}
