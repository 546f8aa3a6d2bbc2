package capture

import "io"

// window is the part of a capture that is in memory. Its buffer never grows.
type window struct {
	src   io.Reader
	buf   *[MaxBlock]byte
	start int   // the first unread byte in buf
	end   int   // behind the last byte in buf
	base  int64 // the offset of buf[0] in the capture
	err   error // why src gives no more, io.EOF at its end; nil while it does
}

func newWindow(src io.Reader) window {
	return window{src: src, buf: new([MaxBlock]byte)}
}

// offset is where the first unread byte is in the capture.
func (w *window) offset() int64 { return w.base + int64(w.start) }

// reached is how many bytes of the capture have come from src.
func (w *window) reached() int64 { return w.base + int64(w.end) }

// unread are the bytes in memory that were not taken yet.
func (w *window) unread() []byte { return w.buf[w.start:w.end] }

// need gets n unread bytes into memory, n at most the size of the buffer. It is
// false when src ends before.
func (w *window) need(n int) bool {
	for w.end-w.start < n {
		if !w.fill() {
			return false
		}
	}
	return true
}

// skip drops the next n bytes. It is false when src ends before.
func (w *window) skip(n int64) bool {
	for have := int64(w.end - w.start); have < n; have = int64(w.end - w.start) {
		n -= have
		w.start = w.end
		if !w.fill() {
			return false
		}
	}
	w.start += int(n)
	return true
}

// fill gets at least one more byte. It is false when src has none, or when the
// buffer is full of unread bytes.
func (w *window) fill() bool {
	w.moveToFront()
	for tries := 0; w.err == nil && w.end < len(w.buf); tries++ {
		if tries == 100 {
			w.err = io.ErrNoProgress
			return false
		}
		n, err := w.src.Read(w.buf[w.end:])
		w.end += n
		w.err = err
		if n > 0 {
			return true
		}
	}
	return false
}

func (w *window) moveToFront() {
	if w.start == 0 {
		return
	}
	copy(w.buf[:], w.buf[w.start:w.end])
	w.base += int64(w.start)
	w.end -= w.start
	w.start = 0
}
