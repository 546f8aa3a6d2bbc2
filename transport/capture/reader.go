package capture

import (
	"errors"
	"io"
	"os"

	"packlink/transport"
)

// Reader hands over the frames of a capture in the order of the file. Its
// memory is one buffer of [MaxBlock] bytes, whatever the capture's length. It
// is not for use by several goroutines at once, except for Close.
type Reader struct {
	format format
	closer io.Closer
	err    error // the error that no frame can follow
}

// format reads one kind of capture.
type format interface {
	receive(f *transport.Frame) error
	state() *stream
}

var _ transport.Receiver = (*Reader)(nil)

// Open opens the capture at path. The errors are those of [os.Open] and of
// [NewReader].
func Open(path string) (*Reader, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	r, err := NewReader(file, path)
	if err != nil {
		return nil, errors.Join(err, file.Close())
	}
	r.closer = file
	return r, nil
}

// NewReader reads a capture from src and recognises its format by its first
// bytes. The name stands in errors. An [*Error] of [KindEmpty],
// [KindClassicPcap] or [KindUnknownFormat] says why src cannot be read; another
// error is that of src.
func NewReader(src io.Reader, name string) (*Reader, error) {
	f, err := recognise(&stream{name: name, in: newWindow(src)})
	if err != nil {
		return nil, err
	}
	return &Reader{format: f}, nil
}

// Receive fills f with the next frame. f.Data points into the reader's buffer
// and holds until the next call. At the end it returns io.EOF, also when the
// last block is cut: see Torn. An [*Error] says what is wrong with the capture
// and where; if it is resumable the next call goes on behind it, and every
// other error is returned again by every later call. f is untouched by an error.
func (r *Reader) Receive(f *transport.Frame) error {
	if r.err != nil {
		return r.err
	}
	err := r.format.receive(f)
	if err == nil {
		return nil
	}
	if e, ok := err.(*Error); !ok || !e.Resumable() {
		r.err = err
	}
	return err
}

// Torn tells, once Receive has returned io.EOF, whether the capture was cut
// inside its last block or line: that one begins at the byte offset and has
// only left bytes. left is 0 for a whole capture.
func (r *Reader) Torn() (offset, left int64) {
	s := r.format.state()
	return s.tornAt, s.tornLeft
}

// Interfaces are the interfaces met so far and what they gave, by channel.
func (r *Reader) Interfaces() []Interface {
	channels := r.format.state().channels
	all := make([]Interface, len(channels))
	for i, c := range channels {
		all[i] = c.Interface
	}
	return all
}

// Close closes the file of a reader made by [Open]; what was given to
// [NewReader] stays open. Frames that are in memory may still come after it.
func (r *Reader) Close() error {
	if r.closer == nil {
		return nil
	}
	return r.closer.Close()
}
