package modbus

import (
	"io"
	"runtime"
	"testing"
)

// TestThousandIdleClientsAreCheap: below 50 MiB, the clients' own side included, and
// each in the middle of a sweep of an image that nobody else sees any more.
func TestThousandIdleClientsAreCheap(t *testing.T) {
	const clients, most = 1000, 50 << 20
	units := new(Units)
	server := serveTCP(t, units)
	before := memoryInUse()
	for i := range clients {
		publishEqual(t, units, 1, uint16(i))
		conn := server.dial(t)
		response, err := exchange(conn, append([]byte{0, 1, 0, 0, 0, 6, 1}, reading(0, 125)...))
		if err != nil || response[9] != byte(i>>8) || response[10] != byte(i) {
			t.Fatalf("got % X, %v", response, err)
		}
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
