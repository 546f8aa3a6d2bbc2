package main

import (
	"bytes"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping/library"
	"packlink/transport"
	"packlink/transport/capture"
)

// TestDecodingAllocatesNothingPerFrame decodes a short and a long capture of the
// same traffic: the long one allocates no more.
func TestDecodingAllocatesNothingPerFrame(t *testing.T) {
	table, err := library.Compile("storage-can-35x")
	if err != nil {
		t.Fatal(err)
	}
	allocations := func(n int) float64 {
		var file bytes.Buffer
		w, err := capture.NewWriter(&file, capture.Bus{Name: "can0", Medium: transport.CAN})
		if err != nil {
			t.Fatal(err)
		}
		for i := range n {
			if err := w.Send(&transport.Frame{Time: 1e18 + int64(i)*1e6, Medium: transport.CAN, ID: 0x356, Data: []byte{0x9A, 0x14, 0x99, 0xFD, 0xE9, 0}}); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		return testing.AllocsPerRun(5, func() {
			r, err := capture.NewReader(bytes.NewReader(file.Bytes()), "test")
			if err != nil {
				t.Fatal(err)
			}
			s := decode.NewSampler(table, 1e9, func(int) string { return "bus" }, func(*pack.Status) error { return nil })
			if err := frames(t.Context(), &patient{Receiver: r}, s); err != nil {
				t.Fatal(err)
			}
		})
	}
	if short, long := allocations(100), allocations(20_000); long > short+2 {
		t.Errorf("100 frames allocate %v times, 20,000 frames %v times", short, long)
	}
}
