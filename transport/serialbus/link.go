package serialbus

import (
	"errors"
	"time"
)

// link is an open way to a line. Only one goroutine at a time reads and writes;
// close may come from another one, at any time, and ends a read at once.
type link interface {
	// read waits for bytes until an instant, the zero time being never. No bytes
	// and no error say that there were none in time.
	read(buffer []byte, until time.Time) (n int, err error)

	// write hands over all of data, or fails when that takes longer than limit.
	// It does not keep data.
	write(data []byte, limit time.Duration) error

	close() error
}

var (
	errUnplugged = errors.New("the port was unplugged")
	errHungUp    = errors.New("the other side closed the connection")
	errStuck     = errors.New("the line takes no more bytes")
)
