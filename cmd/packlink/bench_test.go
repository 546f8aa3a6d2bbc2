package main

import (
	"bufio"
	"encoding/binary"
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"packlink/transport"
	"packlink/transport/capture"
)

// loadedFrames is how many frames the benchmark's capture has: nineteen minutes
// of a fully loaded 500 kbit/s bus, at 4,500 frames a second.
const loadedFrames = 5_000_000

// writeLoadedBus writes a capture of a fully loaded bus of the storage profile.
// Set PACKLINK_LOADED_BUS to a path to keep it.
func writeLoadedBus(b *testing.B) string {
	b.Helper()
	path := os.Getenv("PACKLINK_LOADED_BUS")
	if path == "" {
		path = filepath.Join(b.TempDir(), "loaded.pcapng")
	}
	file, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	buffered := bufio.NewWriterSize(file, 1<<20)
	w, err := capture.NewWriter(buffered, capture.Bus{Name: "can0", Medium: transport.CAN})
	if err != nil {
		b.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 2))
	messages := []struct {
		id   uint32
		data [8]byte
	}{
		{0x351, [8]byte{0x34, 0x02, 0x90, 0x01, 0xD0, 0x07, 0xC0, 0x01}},
		{0x355, [8]byte{0x60, 0x00, 0x63, 0x00, 0x84, 0x25}},
		{0x356, [8]byte{0x9A, 0x14, 0x99, 0xFD, 0xE9, 0x00}},
		{0x359, [8]byte{0, 0, 0, 0, 2, 0, 0, 0}},
		{0x35C, [8]byte{0xC0}},
		{0x373, [8]byte{0xD9, 0x0C, 0xF2, 0x0C, 0x26, 0x01, 0x29, 0x01}},
	}
	lengths := []int{8, 6, 6, 8, 2, 8}
	f := transport.Frame{Medium: transport.CAN, Time: 1_780_000_000_000_000_000}
	for i := range loadedFrames {
		m := &messages[i%len(messages)]
		if m.id == 0x356 {
			m.data[2] = byte(random.Uint32())
		}
		f.Time += 222_222
		f.ID, f.Data = m.id, m.data[:lengths[i%len(lengths)]]
		if err := w.Send(&f); err != nil {
			b.Fatal(err)
		}
	}
	if err := errors.Join(w.Close(), buffered.Flush(), file.Close()); err != nil {
		b.Fatal(err)
	}
	return path
}

// walkBlocks is the least that reading a pcapng can cost: each block's length,
// through a buffer of 256 KiB.
func walkBlocks(b *testing.B, path string) (blocks int) {
	b.Helper()
	file, err := os.Open(path)
	if err != nil {
		b.Fatal(err)
	}
	defer file.Close()
	r := bufio.NewReaderSize(file, 256<<10)
	for {
		head, err := r.Peek(8)
		if err == io.EOF {
			return blocks
		}
		if err != nil {
			b.Fatal(err)
		}
		if _, err := r.Discard(int(binary.LittleEndian.Uint32(head[4:]))); err != nil {
			b.Fatal(err)
		}
		blocks++
	}
}

// BenchmarkLoadedBus turns a capture of five million frames into a record a
// second; beside it the bare walk over the same file's blocks.
func BenchmarkLoadedBus(b *testing.B) {
	path := writeLoadedBus(b)
	b.Run("walk", func(b *testing.B) {
		for b.Loop() {
			if blocks := walkBlocks(b, path); blocks < loadedFrames {
				b.Fatalf("%d blocks", blocks)
			}
		}
	})
	b.Run("decode", func(b *testing.B) {
		for b.Loop() {
			args := []string{"decode", path, "--mapping", "storage-can-35x", "--every", "1s"}
			if code := run(b.Context(), args, &streams{io.Discard, io.Discard}); code != exitDone {
				b.Fatalf("exit code %d", code)
			}
		}
	})
}
