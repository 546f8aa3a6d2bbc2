package capture

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"packlink/transport"
)

func numbered(n int, at int64) *transport.Frame {
	return &transport.Frame{Time: at, Medium: transport.CAN, ID: uint32(n & 0x7FF), Data: []byte{byte(n), byte(n >> 8)}}
}

// recorded reads the ids of all files of a recording, in the order of their
// names.
func recorded(t *testing.T, folder string) (files int, ids []uint32) {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(folder, "*.pcapng"))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		r, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		var f transport.Frame
		for err = r.Receive(&f); err == nil; err = r.Receive(&f) {
			ids = append(ids, f.ID)
		}
		if err != io.EOF {
			t.Errorf("%s: %v", path, err)
		}
		r.Close()
	}
	return len(paths), ids
}

func inOrder(t *testing.T, ids []uint32, want int) {
	t.Helper()
	if len(ids) != want {
		t.Fatalf("%d frames, want %d", len(ids), want)
	}
	for i, id := range ids {
		if id != uint32(i&0x7FF) {
			t.Fatalf("frame %d has id %d", i, id)
		}
	}
}

// TestRotation wants every frame once and in order, in files that are neither
// too large nor too long.
func TestRotation(t *testing.T) {
	for name, c := range map[string]struct {
		rotation Rotation
		files    int
	}{
		"never":   {Rotation{}, 1},
		"by size": {Rotation{Size: 20_000}, 4},
		"by time": {Rotation{Time: 100 * time.Millisecond}, 10},
	} {
		t.Run(name, func(t *testing.T) {
			folder := t.TempDir()
			r, err := NewRecorder(filepath.Join(folder, "bench.pcapng"), c.rotation, Bus{Name: "can0", Medium: transport.CAN})
			if err != nil {
				t.Fatal(err)
			}
			for i := range 1000 {
				if err := r.Send(numbered(i, 1e18+int64(i)*1e6)); err != nil {
					t.Fatal(err)
				}
			}
			if err := r.Close(); err != nil {
				t.Fatal(err)
			}
			files, ids := recorded(t, folder)
			inOrder(t, ids, 1000)
			if files != c.files {
				t.Errorf("%d files, want %d", files, c.files)
			}
			if frames, _, _ := r.Progress(); frames != 1000 {
				t.Errorf("%d frames are counted", frames)
			}
			all, _ := filepath.Glob(filepath.Join(folder, "*"))
			for _, path := range all {
				if info, err := os.Stat(path); err != nil || c.rotation.Size > 0 && info.Size() > c.rotation.Size {
					t.Errorf("%s: %v, %d bytes", path, err, info.Size())
				}
			}
		})
	}
}

// TestSyncedIsReadable reads a recording that goes on, or was killed: what was
// synced is there.
func TestSyncedIsReadable(t *testing.T) {
	folder := t.TempDir()
	r, err := NewRecorder(filepath.Join(folder, "bench.pcapng"), Rotation{}, Bus{Name: "can0", Medium: transport.CAN})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for i := range 500 {
		if err := r.Send(numbered(i, 1e18+int64(i))); err != nil {
			t.Fatal(err)
		}
	}
	if err := r.Sync(); err != nil {
		t.Fatal(err)
	}
	if err := r.Send(numbered(500, 2e18)); err != nil {
		t.Fatal(err)
	}
	_, ids := recorded(t, folder)
	inOrder(t, ids, 500)
}

func TestRecorderWritesOverNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "bench.pcapng")
	if err := os.WriteFile(path, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := NewRecorder(path, Rotation{}, Bus{Name: "can0", Medium: transport.CAN}); !errors.Is(err, os.ErrExist) {
		t.Errorf("got %v, want %v", err, os.ErrExist)
	}
}

func TestClosedRecorderTakesNothing(t *testing.T) {
	r, err := NewRecorder(filepath.Join(t.TempDir(), "bench.pcapng"), Rotation{}, Bus{Name: "can0", Medium: transport.CAN})
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Close(); err != nil {
		t.Fatal(err)
	}
	if err := r.Send(numbered(0, 1)); !errors.Is(err, os.ErrClosed) {
		t.Errorf("got %v, want %v", err, os.ErrClosed)
	}
}

// TestFullDisk records onto a file system of 64 KiB: the recording ends with an
// error that says why, and what was written before can be read.
func TestFullDisk(t *testing.T) {
	folder := smallDisk(t)
	r, err := NewRecorder(filepath.Join(folder, "bench.pcapng"), Rotation{}, Bus{Name: "can0", Medium: transport.CAN})
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; err == nil && i < 10_000; i++ {
		err = r.Send(numbered(i, 1e18+int64(i)))
	}
	if err == nil || !strings.Contains(err.Error(), "bench.pcapng") || !strings.Contains(err.Error(), "no space left") {
		t.Fatalf("got %v, want an error of a full disk", err)
	}
	if again := r.Send(numbered(0, 1)); again == nil {
		t.Error("a recording that failed goes on")
	}
	_ = r.Close()
	_, ids := recorded(t, folder)
	if len(ids) < 500 {
		t.Errorf("%d frames are left", len(ids))
	}
	inOrder(t, ids, len(ids))
}
