package modbus

import (
	"io"
	"runtime"
	"testing"
)

// TestThousandIdleClientsAreCheap: below 50 MiB, the clients' own side included.
func TestThousandIdleClientsAreCheap(t *testing.T) {
	const clients, most = 1000, 50 << 20
	server := serveFixtures(t)
	before := memoryInUse()
	for range clients {
		conn := server.dial(t)
		send(t, conn, probe)
		expectBytes(t, conn, probeResponse)
	}
	if open := server.Counters().Open; open != clients {
		t.Fatalf("%d connections are open, want %d", open, clients)
	}
	used := memoryInUse() - before
	if used > most {
		t.Errorf("%d idle clients take %d bytes, want at most %d", clients, used, most)
	}
	t.Logf("%d idle clients take %d KiB, both sides together", clients, used>>10)
}

// memoryInUse is the heap and the stacks, in bytes.
func memoryInUse() int64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	return int64(m.HeapInuse + m.StackInuse)
}

// TestNoAllocationPerRequest: neither in the answer nor on the way over TCP.
func TestNoAllocationPerRequest(t *testing.T) {
	server := serveFixtures(t)
	conn := server.dial(t)
	request := []byte{0, 1, 0, 0, 0, 6, 1, 3, 1, 0x90, 0, 125}
	response := make([]byte, 9+2*125)
	roundTrip := func() {
		conn.Write(request)
		if _, err := io.ReadFull(conn, response); err != nil {
			t.Fatal(err)
		}
	}
	if got := testing.AllocsPerRun(1000, roundTrip); got != 0 {
		t.Errorf("a request over tcp allocates %v times", got)
	}
	answer := make([]byte, 0, MaxPDU)
	for _, pdu := range [][]byte{request[7:], {3, 0, 100, 0, 1}, {6, 0, 0, 0, 0}, {0x2B, 0x0E, 1, 0}} {
		if got := testing.AllocsPerRun(1000, func() { server.units.Answer(1, pdu, answer) }); got != 0 {
			t.Errorf("the answer to % X allocates %v times", pdu, got)
		}
	}
}
