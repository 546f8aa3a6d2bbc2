package modbus

import (
	"io"
	"sync"
	"testing"
)

// read100 asks for 100 registers.
var read100 = []byte{0, 1, 0, 0, 0, 6, 1, 3, 1, 0x90, 0, 100}

// BenchmarkAnswer is the upper floor alone.
func BenchmarkAnswer(b *testing.B) {
	units, response := fixtureUnits(b), make([]byte, 0, MaxPDU)
	b.ReportAllocs()
	for b.Loop() {
		response = units.Answer(1, read100[headerBytes:], response[:0])
	}
	if len(response) != 202 {
		b.Fatalf("got % X", response)
	}
}

// BenchmarkPublish is a new image of 313 registers.
func BenchmarkPublish(b *testing.B) {
	units, block := new(Units), Block{From: 40000, Words: make([]uint16, 313)}
	b.ReportAllocs()
	for b.Loop() {
		image, err := NewImage(bench, []Block{block})
		if err != nil {
			b.Fatal(err)
		}
		if err := units.Publish(1, image); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkLoopback16 is 16 clients in the same process, each of which asks
// again when it has its response.
func BenchmarkLoopback16(b *testing.B) {
	const clients = 16
	server := serveFixtures(b)
	var running sync.WaitGroup
	b.ReportAllocs()
	b.ResetTimer()
	for i := range clients {
		conn := server.dial(b)
		requests := (b.N + i) / clients
		running.Go(func() {
			response := make([]byte, 9+200)
			for range requests {
				conn.Write(read100)
				if _, err := io.ReadFull(conn, response); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	running.Wait()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "requests/s")
}
