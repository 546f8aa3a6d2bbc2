package capture

import (
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"packlink/fixtures/beside"
	"packlink/transport"
)

// shared is the path of a file beside the repository. The test is skipped where
// it is absent.
func shared(t *testing.T, elements ...string) string {
	t.Helper()
	path := filepath.Join(append([]string{"..", "..", "..", "shared"}, elements...)...)
	if _, err := os.Stat(path); err != nil {
		beside.Missing(t, "the shared file is not here: ", err)
	}
	return path
}

// readFile reads a capture that must be whole and without a fault.
func readFile(t *testing.T, path string) reading {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	got := readAll(t, file)
	if got.Faults != nil || got.Left != 0 {
		t.Fatalf("%s: torn %d, %q", path, got.Left, got.Faults)
	}
	return got
}

// TestBenchCANInBothFormats reads one recording as pcapng and as a text log. The
// log does not tell the direction.
func TestBenchCANInBothFormats(t *testing.T) {
	binary := receiveFile(t, shared(t, "captures", "bench-35x.pcapng"))
	log := receiveFile(t, shared(t, "captures", "bench-35x.log"))
	for i := range binary {
		if binary[i].Direction != transport.Received {
			t.Fatalf("frame %d: the pcapng says received, got %v", i, binary[i].Direction)
		}
		binary[i].Direction = transport.DirectionUnknown
	}
	if len(binary) != 540 {
		t.Errorf("got %d frames, want 540 as capinfos counts them", len(binary))
	}
	if diff := cmp.Diff(texts(binary), texts(log)); diff != "" {
		t.Errorf("the frames differ:\n%s", diff)
	}
}

// receiveFile opens a capture the way a user does.
func receiveFile(t *testing.T, path string) (frames []transport.Frame) {
	t.Helper()
	r, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for {
		var f transport.Frame
		switch err := r.Receive(&f); err {
		case nil:
			f.Data = append([]byte(nil), f.Data...)
			frames = append(frames, f)
		case io.EOF:
			return frames
		default:
			t.Fatal(err)
		}
	}
}

func TestBenchSerial(t *testing.T) {
	got := readFile(t, shared(t, "captures", "bench-rs485.pcapng"))
	want := []Interface{{Name: "rs485", LinkType: LinkSerial, Resolution: Nanoseconds, Frames: 699}}
	if diff := cmp.Diff(want, got.Interfaces); diff != "" {
		t.Errorf("the interfaces differ (699 packets as capinfos counts them):\n%s", diff)
	}
	if first := "1780000000050000000 0 serial received 0 - 01030000002845D4"; got.Frames[0] != first {
		t.Errorf("the first frame is %q, want %q", got.Frames[0], first)
	}
}

// TestModbusVectors reads the capture of the worked examples of "MODBUS
// Application Protocol Specification V1.1b3", section 6, one frame a packet. The
// first two are the request and the response of section 6.1.
func TestModbusVectors(t *testing.T) {
	shared(t, "standards", "vectors")
	paths, err := filepath.Glob(filepath.Join("..", "..", "..", "shared", "standards", "vectors", "*.pcapng"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no capture among the shared vectors (%v)", err)
	}
	for _, path := range paths {
		got := readFile(t, path)
		want := []string{"1700000000000000000 0 serial sent 0 - 1101001300138E92", "1700000000001000000 0 serial received 0 - 110103CD6B054012"}
		if len(got.Frames) != 34 || !cmp.Equal(got.Frames[:2], want) {
			t.Errorf("%s: got %d frames, the first are %q", path, len(got.Frames), got.Frames[:2])
		}
	}
}
