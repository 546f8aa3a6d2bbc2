package canbus

import (
	"encoding/binary"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"packlink/transport"
)

// batchSize is how many frames one system call can fetch.
const batchSize = 64

// controlSize has room for a time stamp of two 64-bit numbers and for a drop
// counter, each with its header.
const controlSize = 64

// batch holds the frames that one system call fetched, and what the kernel says
// about each.
type batch struct {
	headers [batchSize]messageHeader
	vectors [batchSize]unix.Iovec
	frames  [batchSize][fdSize]byte
	control [batchSize][controlSize]byte
	count   int // frames fetched
	next    int // the first that was not handed over
}

// messageHeader is struct mmsghdr (recvmmsg(2)).
type messageHeader struct {
	unix.Msghdr
	length uint32
}

func newBatch() *batch {
	b := new(batch)
	for i := range b.headers {
		b.vectors[i].Base = &b.frames[i][0]
		b.vectors[i].SetLen(fdSize)
		b.headers[i].Iov = &b.vectors[i]
		b.headers[i].SetIovlen(1)
		b.headers[i].Control = &b.control[i][0]
		b.headers[i].SetControllen(controlSize)
	}
	return b
}

// clear makes the batch ready for the next fetch, and tells whether the last
// one filled it, so that more may wait.
func (b *batch) clear() (full bool) {
	for i := range b.count {
		b.headers[i].SetControllen(controlSize)
	}
	full = b.count == batchSize
	b.count, b.next = 0, 0
	return full
}

// fetch gets what waits in the socket, without waiting.
func (b *batch) fetch(fd int) error {
	n, _, errno := unix.Syscall6(unix.SYS_RECVMMSG, uintptr(fd), uintptr(unsafe.Pointer(&b.headers[0])), batchSize, unix.MSG_DONTWAIT, 0, 0)
	if errno != 0 {
		return errno
	}
	b.count = int(n)
	return nil
}

// note is what the kernel says about a frame.
type note struct {
	time    int64 // nanoseconds since the Unix epoch; 0 if not said
	dropped uint32
	counted bool // dropped was said: it counts since the socket was opened
}

// take fills f with the next frame of the batch. It is false for a message that
// holds no frame.
func (b *batch) take(f *transport.Frame) (said note, ok bool) {
	i := b.next
	b.next++
	h := &b.headers[i]
	said = readNote(b.control[i][:h.Controllen])
	if !decodeWire(b.frames[i][:min(h.length, fdSize)], f) {
		return said, false
	}
	f.Time = said.time
	if f.Time == 0 {
		f.Time = time.Now().UnixNano()
	}
	f.Direction = transport.Received
	if h.Flags&(unix.MSG_DONTROUTE|unix.MSG_CONFIRM) != 0 {
		f.Direction = transport.Sent
	}
	return said, true
}

// newest is the time of the last frame; 0 without one.
func (b *batch) newest() int64 {
	if b.count == 0 {
		return 0
	}
	last := b.count - 1
	return readNote(b.control[last][:b.headers[last].Controllen]).time
}

// readNote reads the control messages of a frame.
func readNote(b []byte) (said note) {
	for len(b) >= unix.SizeofCmsghdr {
		h := (*unix.Cmsghdr)(unsafe.Pointer(&b[0]))
		size := int(h.Len)
		if size < unix.CmsgLen(0) || size > len(b) {
			return said
		}
		said.read(h.Type, b[unix.CmsgLen(0):size])
		b = b[min(len(b), unix.CmsgSpace(size-unix.CmsgLen(0))):]
	}
	return said
}

func (n *note) read(kind int32, value []byte) {
	switch {
	case kind == unix.SO_TIMESTAMPNS_NEW && len(value) >= 16:
		n.time = int64(binary.NativeEndian.Uint64(value))*int64(time.Second) + int64(binary.NativeEndian.Uint64(value[8:]))
	case kind == unix.SO_RXQ_OVFL && len(value) >= 4:
		n.dropped, n.counted = binary.NativeEndian.Uint32(value), true
	}
}
