package capture

import (
	"bytes"
	"io"
	"slices"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"

	"packlink/transport"
)

// addSeeds adds all vectors and what the writer makes.
func addSeeds(f *testing.F) {
	for _, v := range vectors(f) {
		f.Add(v.data)
	}
	buses := []Bus{{"can0", transport.CAN}, {"line", transport.Serial}}
	f.Add(writeAll(f, buses))
	f.Add(writeAll(f, buses,
		transport.Frame{Time: 1, ID: 1, Medium: transport.CAN, Flags: transport.FD | transport.Lost, Data: make([]byte, 64)},
		transport.Frame{Time: 2, Channel: 1, Medium: transport.Serial, Flags: transport.Damaged, Data: []byte("bytes")}))
}

// FuzzReader feeds any bytes. What comes must not depend on how they are handed
// over, be possible, and survive being written and read again.
func FuzzReader(f *testing.F) {
	addSeeds(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		got := readAll(t, bytes.NewReader(data))
		if diff := cmp.Diff(got, readAll(t, iotest.OneByteReader(bytes.NewReader(data)))); diff != "" {
			t.Errorf("byte by byte it is different:\n%s", diff)
		}
		if len(got.Frames) > len(data)/10 {
			t.Errorf("%d frames in %d bytes", len(got.Frames), len(data))
		}
		if got.Left < 0 || got.Left > 0 && got.At+got.Left != int64(len(data)) {
			t.Errorf("torn at %d with %d left of %d", got.At, got.Left, len(data))
		}
		rewrite(t, data)
	})
}

// FuzzTextLog feeds one line behind a good one: the good one must come, and the
// other must give at most one frame or one error.
func FuzzTextLog(f *testing.F) {
	for _, v := range vectors(f) {
		if v.header["expect"] == "line" {
			f.Add(v.data)
		}
	}
	for _, line := range []string{"(1436509053.850870) can0 123#1122334455667788", "(1.5) can0 12345678##Faabb", "(1.5) can0 20000080#00 T", "", "("} {
		f.Add([]byte(line))
	}
	f.Fuzz(func(t *testing.T, line []byte) {
		if bytes.ContainsAny(line, "\n") || len(line) > maxLine {
			line = nil
		}
		const first = "(1.000000) can0 123#11\n"
		got := readAll(t, bytes.NewReader(slices.Concat([]byte(first), line, []byte("\n"))))
		if len(got.Frames) < 1 || got.Frames[0] != "1000000000 0 can unknown 123 - 11" {
			t.Fatalf("the good line gave %q, %q", got.Frames, got.Faults)
		}
		if len(got.Frames)+len(got.Faults) > 2 || got.Left != 0 {
			t.Errorf("the line gave %q and %q, %d left", got.Frames[1:], got.Faults, got.Left)
		}
		if blank := len(bytes.Trim(line, blank)) == 0; blank == (len(got.Frames)+len(got.Faults) == 2) {
			t.Errorf("the line %q gave %q and %q", line, got.Frames[1:], got.Faults)
		}
	})
}

// rewrite writes the frames of a capture that the writer takes, and reads them
// back.
func rewrite(t *testing.T, data []byte) {
	r, err := NewReader(bytes.NewReader(data), "fuzz")
	if err != nil {
		return
	}
	buses := []Bus{{"can", transport.CAN}, {"serial", transport.Serial}}
	var out bytes.Buffer
	w, err := NewWriter(&out, buses...)
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	var frame transport.Frame
	for err = r.Receive(&frame); err == nil || resumable(err); err = r.Receive(&frame) {
		if err != nil {
			continue
		}
		frame.Channel = int(frame.Medium) - 1
		if w.Send(&frame) == nil {
			want = append(want, text(frame))
		} else if frame.Time >= 0 && frame.Time < 1<<32*1e9 && len(frame.Data) <= MaxSerialData {
			t.Errorf("the writer refuses %s", text(frame))
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, readAll(t, io.Reader(&out)).Frames); diff != "" {
		t.Errorf("written and read again it is different:\n%s", diff)
	}
}
