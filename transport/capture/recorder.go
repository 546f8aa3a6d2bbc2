package capture

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"packlink/transport"
)

// Rotation says when a recording goes on in another file. What is 0 never does.
type Rotation struct {
	Size int64         // bytes of a file
	Time time.Duration // from a file's first frame
}

// blockRoom is more than the block of any CAN frame has.
const blockRoom = 256

// Recorder writes frames to a file such as bench.pcapng; with a rotation, to
// bench-0001.pcapng, bench-0002.pcapng and so on. It never writes over a file that
// is there. It may be used by several goroutines.
type Recorder struct {
	mu       sync.Mutex
	path     string
	buses    []Bus
	rotation Rotation
	file     *os.File
	writer   *Writer
	number   int   // of the file, from 1
	size     int64 // bytes in it, about
	first    int64 // time of its first frame; 0 before
	total    int64 // bytes in the files before it
	frames   int64
	failed   error
}

var _ transport.Sender = (*Recorder)(nil)

// NewRecorder begins a recording of the given buses. The errors are those of
// [os.OpenFile] and [NewWriter].
func NewRecorder(path string, rotation Rotation, buses ...Bus) (*Recorder, error) {
	r := &Recorder{path: path, buses: buses, rotation: rotation}
	return r, r.next()
}

// next begins the next file.
func (r *Recorder) next() error {
	r.number++
	file, err := os.OpenFile(r.name(), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	writer, err := NewWriter(file, r.buses...)
	if err != nil {
		return errors.Join(err, file.Close())
	}
	r.file, r.writer, r.size, r.first = file, writer, blockRoom, 0
	return nil
}

// name is the path of the file that is being written.
func (r *Recorder) name() string {
	if r.rotation == (Rotation{}) {
		return r.path
	}
	ending := filepath.Ext(r.path)
	return fmt.Sprintf("%s-%04d%s", strings.TrimSuffix(r.path, ending), r.number, ending)
}

// Send writes a frame, in the next file if it is due. After an error, such as a
// full disk, nothing more is written: every further call returns that error.
func (r *Recorder) Send(f *transport.Frame) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.failed != nil {
		return r.failed
	}
	if r.due(f) {
		if r.failed = r.finish(); r.failed == nil {
			r.failed = r.next()
		}
	}
	if r.failed == nil {
		r.failed = r.writer.Send(f)
	}
	if r.failed != nil {
		r.failed = fmt.Errorf("recording to %s: %w", r.name(), r.failed)
		return r.failed
	}
	if r.first == 0 {
		r.first = f.Time
	}
	r.frames++
	r.size += int64(packetLength + packetOptions + canHeader + (len(f.Data)+3)&^3)
	return nil
}

// due tells whether a frame belongs into the next file.
func (r *Recorder) due(f *transport.Frame) bool {
	tooLarge := r.rotation.Size > 0 && r.size+int64(len(f.Data)) > r.rotation.Size
	tooLong := r.rotation.Time > 0 && r.first != 0 && f.Time-r.first >= int64(r.rotation.Time)
	return r.first != 0 && (tooLarge || tooLong)
}

// Sync brings what was written to the disk. Called each second, it lets a power
// cut take the last second at most.
func (r *Recorder) Sync() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.failed == nil {
		if r.failed = errors.Join(r.writer.Flush(), r.file.Sync()); r.failed != nil {
			r.failed = fmt.Errorf("recording to %s: %w", r.name(), r.failed)
		}
	}
	return r.failed
}

// Progress is how many frames and about how many bytes were written so far, and
// the path of the file that is being written.
func (r *Recorder) Progress() (frames, bytes int64, path string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.frames, r.total + r.size, r.name()
}

func (r *Recorder) finish() error {
	r.total += r.size
	return errors.Join(r.writer.Close(), r.file.Sync(), r.file.Close())
}

// Close ends the recording.
func (r *Recorder) Close() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.failed != nil {
		return errors.Join(r.writer.Close(), r.file.Close())
	}
	r.failed = os.ErrClosed
	return r.finish()
}
