package capture

import (
	"bytes"
	"errors"
	"io"
	"os"
	"strings"
	"testing"

	"packlink/transport"
)

func TestNewWriterRefuses(t *testing.T) {
	for says, buses := range map[string][]Bus{
		"a capture of 0 buses":   nil,
		"a capture of 257 buses": make([]Bus, MaxInterfaces+1),
		"unknown medium":         {{"x", 0}},
		"1025 bytes":             {{strings.Repeat("x", MaxName+1), transport.CAN}},
	} {
		if _, err := NewWriter(io.Discard, buses...); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: got %v", says, err)
		}
	}
}

// TestSendRefuses sends frames that could not be read back as they are, and
// checks that none of them leaves a byte.
func TestSendRefuses(t *testing.T) {
	var out bytes.Buffer
	w, err := NewWriter(&out, Bus{"can0", transport.CAN}, Bus{"line", transport.Serial})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		says  string
		frame transport.Frame
	}{
		{"channels 0 to 1", transport.Frame{Channel: 2, Medium: transport.CAN}},
		{"channels 0 to 1", transport.Frame{Channel: -1, Medium: transport.CAN}},
		{"a frame of a serial bus on a can bus", transport.Frame{Medium: transport.Serial}},
		{"1 ns before 1970", transport.Frame{Medium: transport.CAN, Time: -1}},
		{"direction 3", transport.Frame{Medium: transport.CAN, Direction: 3}},
		{"flags 0x80", transport.Frame{Medium: transport.CAN, Flags: 0x80}},
		{"id 0x800 is too large", transport.Frame{Medium: transport.CAN, ID: 0x800}},
		{"id 0x20000000 is too large", transport.Frame{Medium: transport.CAN, ID: 0x20000000, Flags: transport.Extended}},
		{"9 bytes, expected at most 8", transport.Frame{Medium: transport.CAN, Data: make([]byte, 9)}},
		{"65 bytes, expected at most 64", transport.Frame{Medium: transport.CAN, Flags: transport.FD, Data: make([]byte, 65)}},
		{"1 bytes of data, expected none", transport.Frame{Medium: transport.CAN, Flags: transport.Remote, Data: make([]byte, 1)}},
		{"remote request in CAN FD", transport.Frame{Medium: transport.CAN, Flags: transport.Remote | transport.FD}},
		{"an id or a flag of CAN", transport.Frame{Channel: 1, Medium: transport.Serial, ID: 1}},
		{"an id or a flag of CAN", transport.Frame{Channel: 1, Medium: transport.Serial, Flags: transport.FD}},
		{"without a byte", transport.Frame{Channel: 1, Medium: transport.Serial}},
		{"expected at most 262076", transport.Frame{Channel: 1, Medium: transport.Serial, Data: make([]byte, MaxSerialData+1)}},
		{"after 2106", transport.Frame{Channel: 1, Medium: transport.Serial, Data: make([]byte, 1), Time: 1 << 32 * 1e9}},
	} {
		if err := w.Send(&c.frame); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: got %v", c.says, err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if got := readAll(t, &out); len(got.Frames) != 0 || got.Left != 0 || got.Faults != nil {
		t.Errorf("refused frames left %+v", got)
	}
	if err := w.Send(&transport.Frame{Medium: transport.CAN}); !errors.Is(err, os.ErrClosed) {
		t.Errorf("after Close: got %v", err)
	}
}

// TestFlushMakesAWholeFile reads what another process would see.
func TestFlushMakesAWholeFile(t *testing.T) {
	var out bytes.Buffer
	w, err := NewWriter(&out, Bus{"can0", transport.CAN})
	if err != nil {
		t.Fatal(err)
	}
	for n := range 3 {
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		if got := readAll(t, bytes.NewReader(out.Bytes())); len(got.Frames) != n || got.Left != 0 || got.Faults != nil {
			t.Errorf("after %d frames: %+v", n, got)
		}
		if err := w.Send(&transport.Frame{Medium: transport.CAN, ID: uint32(n)}); err != nil {
			t.Fatal(err)
		}
	}
}

type fullDisk struct{}

var errFull = errors.New("no space left")

func (fullDisk) Write([]byte) (int, error) { return 0, errFull }

func TestWritingFails(t *testing.T) {
	for medium, channel := range map[transport.Medium]int{transport.CAN: 0, transport.Serial: 1} {
		w, err := NewWriter(fullDisk{}, Bus{"can0", transport.CAN}, Bus{"line", transport.Serial})
		if err != nil {
			t.Fatal(err)
		}
		f := transport.Frame{Channel: channel, Medium: medium, Data: []byte{1}}
		for range 2000 {
			err = errors.Join(err, w.Send(&f))
		}
		if !errors.Is(err, errFull) || !errors.Is(w.Flush(), errFull) || !errors.Is(w.Close(), errFull) {
			t.Errorf("%v: the full disk was not reported: %v", medium, err)
		}
	}
}

// TestNewWriterFails describes more interfaces than the writer holds back.
func TestNewWriterFails(t *testing.T) {
	buses := make([]Bus, MaxInterfaces)
	for i := range buses {
		buses[i] = Bus{strings.Repeat("x", MaxName), transport.CAN}
	}
	if _, err := NewWriter(fullDisk{}, buses...); !errors.Is(err, errFull) {
		t.Errorf("got %v", err)
	}
}

func TestSendAllocatesNothing(t *testing.T) {
	w, err := NewWriter(io.Discard, Bus{"can0", transport.CAN}, Bus{"line", transport.Serial})
	if err != nil {
		t.Fatal(err)
	}
	frames := []transport.Frame{
		{Medium: transport.CAN, ID: 1, Data: make([]byte, 8)},
		{Medium: transport.CAN, ID: 1, Flags: transport.FD | transport.Lost, Data: make([]byte, 64)},
		{Channel: 1, Medium: transport.Serial, Data: make([]byte, 100_000)},
	}
	allocs := testing.AllocsPerRun(1000, func() {
		for i := range frames {
			if err := w.Send(&frames[i]); err != nil {
				t.Fatal(err)
			}
		}
	})
	if allocs != 0 {
		t.Errorf("%v allocations for three frames", allocs)
	}
}
