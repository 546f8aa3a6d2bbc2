package capture

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"packlink/transport"
)

// blockOf is a block of the type with the body and as many zeros, without
// keeping them in memory.
func blockOf(kind uint32, body []byte, zeros int64) io.Reader {
	length := uint32(blockFrame + int64(len(body)) + zeros)
	head := le.AppendUint32(le.AppendUint32(nil, kind), length)
	return io.MultiReader(bytes.NewReader(append(head, body...)), io.LimitReader(zeroReader{}, zeros), bytes.NewReader(le.AppendUint32(nil, length)))
}

type zeroReader struct{}

func (zeroReader) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

// TestHugeBlocksAreSkippedInConstantMemory steps over 3 GB: an unknown block, a
// section header with long options, and a packet of a link type that is not read.
func TestHugeBlocksAreSkippedInConstantMemory(t *testing.T) {
	const huge = 1 << 30
	ethernet := le.AppendUint32(le.AppendUint32(nil, 1), 0)
	packet := binary.LittleEndian.AppendUint32(make([]byte, 12), huge)
	file := writeAll(t, []Bus{{"can0", transport.CAN}}, transport.Frame{Medium: transport.CAN, ID: 7})
	section := file[8 : sectionHeaderLength-4]
	src := io.MultiReader(bytes.NewReader(file), blockOf(0xBAD, nil, huge), blockOf(sectionHeaderBlock, section, huge),
		blockOf(interfaceBlock, ethernet, 0), blockOf(enhancedPacketBlock, append(packet, 0, 0, 0, 0), huge), bytes.NewReader(file))
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	got := readAll(t, src)
	runtime.ReadMemStats(&after)
	if len(got.Frames) != 2 || got.Faults != nil || got.Left != 0 || got.Interfaces[1].Skipped != 1 {
		t.Errorf("got %+v", got)
	}
	if used := after.TotalAlloc - before.TotalAlloc; used > 2*MaxBlock {
		t.Errorf("%d bytes were allocated, expected one buffer of %d", used, MaxBlock)
	}
}

func TestLargestBlockIsRead(t *testing.T) {
	largest := transport.Frame{Medium: transport.Serial, Flags: transport.Lost, Data: make([]byte, MaxSerialData)}
	file := writeAll(t, []Bus{{"line", transport.Serial}}, largest, largest)
	if got := readAll(t, iotest.HalfReader(bytes.NewReader(file))); len(got.Frames) != 2 || got.Faults != nil || got.Left != 0 {
		t.Errorf("got %d frames, torn %d, %q", len(got.Frames), got.Left, got.Faults)
	}
}

func TestReceiveAllocatesNothing(t *testing.T) {
	frame := transport.Frame{Medium: transport.CAN, ID: 1, Data: make([]byte, 8)}
	line := "(1436509053.850870) can0 123##1112233445566778899AABBCC\n"
	for name, data := range map[string][]byte{
		"pcapng":   writeAll(t, []Bus{{"can0", transport.CAN}}, make20000(frame)...),
		"text log": bytes.Repeat([]byte(line), 20000),
	} {
		r, err := NewReader(bytes.NewReader(data), name)
		if err != nil {
			t.Fatal(err)
		}
		var f transport.Frame
		allocs := testing.AllocsPerRun(15000, func() {
			if err := r.Receive(&f); err != nil {
				t.Fatal(err)
			}
		})
		if allocs != 0 {
			t.Errorf("%s: %v allocations a frame", name, allocs)
		}
	}
}

func make20000(f transport.Frame) []transport.Frame {
	frames := make([]transport.Frame, 20000)
	for i := range frames {
		frames[i] = f
	}
	return frames
}

// TestLongestLine reads a line of just the most bytes, and refuses one more.
func TestLongestLine(t *testing.T) {
	const frame = "(1.0) can0 123#"
	longest := frame + strings.Repeat(" ", maxLine-len(frame)) + "\n"
	for _, chunked := range []func(io.Reader) io.Reader{iotest.OneByteReader, iotest.HalfReader} {
		if got := readAll(t, chunked(strings.NewReader(longest+longest))); len(got.Frames) != 2 || got.Faults != nil {
			t.Errorf("%d bytes: got %+v", maxLine, got)
		}
		if got := readAll(t, chunked(strings.NewReader(longest+" "+longest))); len(got.Frames) != 1 || len(got.Faults) != 1 {
			t.Errorf("%d bytes: got %+v", maxLine+1, got)
		}
	}
}

// TestInterfacesAreBounded declares one more interface than there may be, in one
// section and in many.
func TestInterfacesAreBounded(t *testing.T) {
	head := appendSectionHeader(nil)
	can := appendInterface(nil, Bus{Medium: transport.CAN})
	var many bytes.Buffer
	for i := range MaxInterfaces + 1 {
		many.Write(head)
		many.Write(appendInterface(nil, Bus{Name: fmt.Sprint(i), Medium: transport.CAN}))
	}
	var log bytes.Buffer
	for i := range MaxInterfaces + 1 {
		fmt.Fprintf(&log, "(1.0) can%d 123#\n", i)
	}
	for name, data := range map[string][]byte{
		"one section":   append(head, bytes.Repeat(can, MaxInterfaces+1)...),
		"many sections": many.Bytes(),
		"text log":      log.Bytes(),
	} {
		got := readAll(t, bytes.NewReader(data))
		if len(got.Interfaces) != MaxInterfaces || len(got.Faults) != 1 || !strings.HasPrefix(got.Faults[0], string(KindInterface)) {
			t.Errorf("%s: got %d interfaces, %q", name, len(got.Interfaces), got.Faults)
		}
	}
}

// TestSectionsShareChannels reads more sections than there may be interfaces, as
// rotated files make when they are put together.
func TestSectionsShareChannels(t *testing.T) {
	buses := []Bus{{"", transport.CAN}, {"", transport.CAN}, {"line", transport.Serial}}
	one := writeAll(t, buses, transport.Frame{Channel: 1, Medium: transport.CAN, ID: 5})
	got := readAll(t, bytes.NewReader(bytes.Repeat(one, 1000)))
	if len(got.Interfaces) != 3 || got.Interfaces[1].Frames != 1000 || got.Faults != nil {
		t.Errorf("got %+v, %q", got.Interfaces, got.Faults)
	}
}

func TestReadingFails(t *testing.T) {
	broken := errors.New("the disk is gone")
	file := writeAll(t, []Bus{{"can0", transport.CAN}}, transport.Frame{Medium: transport.CAN, ID: 7})
	r, err := NewReader(io.MultiReader(bytes.NewReader(file), iotest.ErrReader(broken)), "bench")
	if err != nil {
		t.Fatal(err)
	}
	var f transport.Frame
	if err := r.Receive(&f); err != nil || f.ID != 7 {
		t.Fatalf("the frame before the failure: %+v, %v", f, err)
	}
	for range 2 {
		if err := r.Receive(&f); !errors.Is(err, broken) || err.Error() != fmt.Sprintf("bench: byte %d: reading failed: the disk is gone", len(file)) {
			t.Errorf("got %v", err)
		}
	}
	if _, err := NewReader(iotest.ErrReader(broken), "bench"); !errors.Is(err, broken) {
		t.Errorf("got %v", err)
	}
	if _, err := NewReader(stuckReader{}, "bench"); !errors.Is(err, io.ErrNoProgress) {
		t.Errorf("a reader that gives nothing: got %v", err)
	}
}

type stuckReader struct{}

func (stuckReader) Read([]byte) (int, error) { return 0, nil }

func TestAnErrorLeavesTheFrameUntouched(t *testing.T) {
	for _, v := range vectors(t) {
		r, err := NewReader(bytes.NewReader(v.data), v.name)
		if err != nil {
			continue
		}
		for err == nil || resumable(err) {
			f := transport.Frame{Time: -1, Channel: -1, ID: 99, Data: []byte("mark")}
			if err = r.Receive(&f); err != nil && text(f) != "-1 -1 unknown medium unknown 63 - 6D61726B" {
				t.Errorf("%s: after %v the frame is %s", v.name, err, text(f))
			}
		}
	}
}

func resumable(err error) bool {
	var e *Error
	return errors.As(err, &e) && e.Resumable()
}

func TestOpen(t *testing.T) {
	dir := t.TempDir()
	good := filepath.Join(dir, "misnamed.txt")
	if err := os.WriteFile(good, writeAll(t, []Bus{{"can0", transport.CAN}}, transport.Frame{Medium: transport.CAN, ID: 7}), 0o600); err != nil {
		t.Fatal(err)
	}
	if frames := receiveFile(t, good); len(frames) != 1 {
		t.Errorf("got %d frames", len(frames))
	}
	if _, err := Open(filepath.Join(dir, "absent.pcapng")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("an absent file: got %v", err)
	}
	if _, err := Open(dir); err == nil {
		t.Error("a folder was opened as a capture")
	}
	empty := filepath.Join(dir, "empty.pcapng")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(empty); err == nil || !strings.Contains(err.Error(), empty) {
		t.Errorf("an empty file: got %v", err)
	}
}

// TestClose shows that Close ends an opened file, and leaves a given reader open.
func TestClose(t *testing.T) {
	path := filepath.Join(t.TempDir(), "long.log")
	if err := os.WriteFile(path, bytes.Repeat([]byte("(1.0) can0 123#\n"), 50000), 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	var f transport.Frame
	for err == nil {
		err = r.Receive(&f)
	}
	if !errors.Is(err, fs.ErrClosed) {
		t.Errorf("after Close reading ends with %v", err)
	}
	given, err := NewReader(strings.NewReader("(1.0) can0 123#\n"), "given")
	if err != nil {
		t.Fatal(err)
	}
	if err := given.Close(); err != nil {
		t.Errorf("Close of a given reader: %v", err)
	}
	if err := given.Receive(&f); err != nil {
		t.Errorf("the given reader does not read on: %v", err)
	}
}
