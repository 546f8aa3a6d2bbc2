package main

import (
	"context"
	"encoding/binary"
	"io"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"packlink/mapping/library"
	"packlink/transport"
)

// handed is a bus whose frames a test hands over.
type handed chan transport.Frame

func (h handed) Receive(f *transport.Frame) error {
	next, open := <-h
	if !open {
		return io.EOF
	}
	*f = next
	return nil
}

func (h handed) Close() error { return nil }

// BenchmarkFrameToRegister is the time from a frame's arrival until its value can be read in
// a register: decoding, the bank, the layout and the image, as a bridge runs them. Frames
// come at random times, on average 3 ms apart, so that some come close together. The reader
// naps between two looks: one that spins takes the processor from what it measures.
func BenchmarkFrameToRegister(b *testing.B) {
	heard, err := library.Compile("storage-can-35x")
	if err != nil {
		b.Fatal(err)
	}
	layout, err := library.Compile("sunspec-battery")
	if err != nil {
		b.Fatal(err)
	}
	bus := make(handed)
	registers := (&outputPlan{table: layout}).newRegisters(io.Discard)
	running := &bridge{plan: &plan{bank: "bench"}, outputs: []output{registers}, wake: make(chan struct{}, 1)}
	open := func(context.Context, func(string)) (transport.Receiver, error) { return bus, nil }
	running.sources = []*source{newSource(&sourcePlan{name: "bus", table: heard, live: true, open: open}, running.woken)}
	ctx, cancel := context.WithCancel(context.Background())
	var work sync.WaitGroup
	work.Go(func() { running.sources[0].run(ctx, io.Discard) })
	work.Go(func() { running.publishing(ctx, io.Discard) })
	defer work.Wait()
	defer close(bus)
	defer cancel()

	times, volts := make([]time.Duration, 0, b.N), uint16(5000)
	data := make([]byte, 6)
	for range b.N {
		time.Sleep(rand.N(6 * time.Millisecond))
		volts = 5000 + (volts+1)%500
		binary.LittleEndian.PutUint16(data, volts)
		arrival := time.Now()
		bus <- transport.Frame{Time: arrival.UnixNano(), Medium: transport.CAN, Direction: transport.Received, ID: 0x356, Data: data}
		for answer := []byte(nil); len(answer) < 4 || binary.BigEndian.Uint16(answer[2:]) != volts; {
			answer = readHolding(registers.units, at802+34, 1)
			unix.Nanosleep(&unix.Timespec{Nsec: 20_000}, nil)
		}
		times = append(times, time.Since(arrival))
	}
	slices.Sort(times)
	b.ReportMetric(float64(times[len(times)/2].Microseconds()), "p50-us")
	b.ReportMetric(float64(times[len(times)*99/100].Microseconds()), "p99-us")
}
