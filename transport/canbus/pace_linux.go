package canbus

import (
	"runtime"
	"time"

	"golang.org/x/sys/unix"
)

// On a busy bus a reader that wakes up for every frame costs several times what
// one costs that lets a few frames gather. nap is how long they may: it is what
// a frame may be late by. They get their time stamps before.
const (
	nap      = 800 * time.Microsecond
	busyStep = 250 * time.Microsecond // a bus with a frame per step or more is busy
)

// yieldEvery is after how many naps to let go of the processor for a moment. Go's
// scheduler takes it away from a goroutine that has been in system calls for 10 ms
// and did not, and that costs more than the nap.
const yieldEvery = 8

// pace tells whether frames come so fast that napping pays.
type pace struct {
	busy   bool
	naps   uint  // naps taken
	newest int64 // time of the newest frame, in nanoseconds
}

// fetched notes that n frames came, the last one at the given time.
func (p *pace) fetched(n int, newest int64) {
	p.busy = n > 0 && newest-p.newest < int64(n)*int64(busyStep)
	if n > 0 {
		p.newest = newest
	}
}

// rest naps if the bus is busy, and else waits until one of the descriptors has
// something to read or the limit is over; none, or a negative one, is no limit.
func (p *pace) rest(limit time.Duration, fds []unix.PollFd) error {
	if p.busy {
		if p.naps++; p.naps%yieldEvery == 0 {
			runtime.Gosched()
		}
		t := unix.NsecToTimespec(int64(nap))
		return ignoreInterrupt(unix.Nanosleep(&t, nil))
	}
	return wait(limit, fds)
}

// forever is a wait without limit.
const forever time.Duration = -1

// wait waits until a descriptor is ready or the limit is over.
func wait(limit time.Duration, fds []unix.PollFd) error {
	var timeout *unix.Timespec
	if limit >= 0 {
		t := unix.NsecToTimespec(int64(limit))
		timeout = &t
	}
	_, err := unix.Ppoll(fds, timeout, nil)
	return ignoreInterrupt(err)
}

// ignoreInterrupt drops the error of a call that a signal cut short.
func ignoreInterrupt(err error) error {
	if err == unix.EINTR {
		return nil
	}
	return err
}
