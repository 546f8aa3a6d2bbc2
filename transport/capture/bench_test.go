package capture

import (
	"bytes"
	"encoding/binary"
	"io"
	"testing"

	"packlink/transport"
)

// millionFrames is how many frames the benchmarks read.
const millionFrames = 1_000_000

// recording is a capture in memory of so many CAN frames of eight bytes.
func recording(b *testing.B, frames int) []byte {
	b.Helper()
	var out bytes.Buffer
	w, err := NewWriter(&out, Bus{Name: "can0", Medium: transport.CAN})
	if err != nil {
		b.Fatal(err)
	}
	f := transport.Frame{Medium: transport.CAN, Direction: transport.Received, Data: []byte{1, 2, 3, 4, 5, 6, 7, 8}}
	for i := range frames {
		f.Time, f.ID = 1_780_000_000_000_000_000+int64(i)*250_000, uint32(i)&canStandardID
		if err := w.Send(&f); err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	return out.Bytes()
}

// walkHeads steps from block to block through a buffer and looks at types and
// lengths only. It is the yardstick: no reader can do less.
func walkHeads(src io.Reader, buf []byte) (packets int) {
	start, end := 0, 0
	for {
		n, err := src.Read(buf[end:])
		end += n
		for end-start >= 8 {
			length := int(binary.LittleEndian.Uint32(buf[start+4:]))
			if end-start < length {
				break
			}
			if binary.LittleEndian.Uint32(buf[start:]) == enhancedPacketBlock {
				packets++
			}
			start += length
		}
		end = copy(buf, buf[start:end])
		start = 0
		if err != nil {
			return packets
		}
	}
}

// BenchmarkHeadsOnly walks a million packets without looking into them.
func BenchmarkHeadsOnly(b *testing.B) {
	data, buf := recording(b, millionFrames), make([]byte, MaxBlock)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		if n := walkHeads(bytes.NewReader(data), buf); n != millionFrames {
			b.Fatalf("walked %d packets", n)
		}
	}
	framesPerSecond(b)
}

// BenchmarkReceive reads the same million frames in full, through the interface
// that the rest of the project uses.
func BenchmarkReceive(b *testing.B) {
	data := recording(b, millionFrames)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		r, err := NewReader(bytes.NewReader(data), "memory")
		if err != nil {
			b.Fatal(err)
		}
		if n := count(b, r); n != millionFrames {
			b.Fatalf("received %d frames", n)
		}
	}
	framesPerSecond(b)
}

func count(b *testing.B, r transport.Receiver) (frames int) {
	var f transport.Frame
	for {
		err := r.Receive(&f)
		if err == io.EOF {
			return frames
		}
		if err != nil {
			b.Fatal(err)
		}
		frames++
	}
}

func framesPerSecond(b *testing.B) {
	b.ReportMetric(float64(b.N)*millionFrames/b.Elapsed().Seconds()/1e6, "Mframes/s")
}

// BenchmarkReceiveTextLog reads a million lines of a text log.
func BenchmarkReceiveTextLog(b *testing.B) {
	data := bytes.Repeat([]byte("(1436509053.850870) can0 123#1122334455667788\n"), millionFrames)
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		r, err := NewReader(bytes.NewReader(data), "memory")
		if err != nil {
			b.Fatal(err)
		}
		if n := count(b, r); n != millionFrames {
			b.Fatalf("received %d frames", n)
		}
	}
	framesPerSecond(b)
}

// BenchmarkSend writes a million CAN frames.
func BenchmarkSend(b *testing.B) {
	f := transport.Frame{Medium: transport.CAN, ID: 0x351, Direction: transport.Received, Data: make([]byte, 8)}
	b.ReportAllocs()
	for b.Loop() {
		w, err := NewWriter(io.Discard, Bus{Name: "can0", Medium: transport.CAN})
		if err != nil {
			b.Fatal(err)
		}
		for range millionFrames {
			if err := w.Send(&f); err != nil {
				b.Fatal(err)
			}
		}
	}
	framesPerSecond(b)
}
