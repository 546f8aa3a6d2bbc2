package serialbus

import (
	"syscall"

	"golang.org/x/sys/unix"
)

// claim is a hold on a serial port beside the library's: it keeps other programs that
// claim the port away, even those of the superuser, to whom the system gives a port that
// is held for exclusive use. Below 0 there is none.
type claim int

// newClaim claims a port. The error is [syscall.EBUSY] if another program has it; whatever
// else is wrong, opening the port will tell.
func newClaim(path string) (claim, error) {
	fd, err := unix.Open(path, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return -1, nil
	}
	if unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB) == unix.EWOULDBLOCK {
		_ = unix.Close(fd)
		return -1, syscall.EBUSY
	}
	return claim(fd), nil
}

// neverWait lets a read of the open port that finds nothing return at once. The library
// reads only when there is something to read, but a program that claims nothing can take
// it away in between: such a read would wait for ever, and could not be ended.
func (c claim) neverWait() {
	if c < 0 {
		return
	}
	if settings, err := unix.IoctlGetTermios(int(c), unix.TCGETS); err == nil {
		settings.Cc[unix.VMIN], settings.Cc[unix.VTIME] = 0, 0
		_ = unix.IoctlSetTermios(int(c), unix.TCSETS, settings)
	}
}

func (c claim) release() {
	if c >= 0 {
		_ = unix.Close(int(c))
	}
}
