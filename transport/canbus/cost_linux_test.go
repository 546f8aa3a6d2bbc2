package canbus

import (
	"encoding/binary"
	"io"
	"os"
	"os/exec"
	"runtime"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"packlink/transport"
)

// A saturated 1 Mbit/s bus carries 9009 frames of 8 bytes a second (STANDARDS.md,
// 5.1: 111 bits for a frame with an 11-bit id and without stuff bits).
const (
	saturated    = 9009
	feederMarker = "PACKLINK_FEEDER"
)

// A test binary that finds the marker is the other process of a cost test: it
// writes frames to descriptor 3 as a saturated bus would.
func init() {
	length, err := time.ParseDuration(os.Getenv(feederMarker))
	if err != nil {
		return
	}
	if err := feed(3, int(length.Seconds()*saturated)); err != nil {
		panic(err)
	}
	os.Exit(0)
}

// startFeeder lets another process write frames to an open file.
func startFeeder(t testing.TB, length time.Duration, to *os.File) {
	t.Helper()
	feeder := exec.Command(os.Args[0])
	feeder.Env = append(os.Environ(), feederMarker+"="+length.String())
	feeder.ExtraFiles = []*os.File{to}
	if err := feeder.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { feeder.Wait() })
}

// feed writes n frames, each at its time.
func feed(fd, n int) error {
	var start unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_MONOTONIC, &start); err != nil {
		return err
	}
	var frame [classicSize]byte
	frame[lengthAt] = 8
	for i := range n {
		binary.NativeEndian.PutUint32(frame[:], uint32(i%0x800))
		binary.LittleEndian.PutUint64(frame[headSize:], uint64(i))
		at := unix.NsecToTimespec(start.Nano() + int64(i)*int64(time.Second)/saturated)
		for unix.ClockNanosleep(unix.CLOCK_MONOTONIC, unix.TIMER_ABSTIME, &at, nil) == unix.EINTR {
		}
		if _, err := unix.Write(fd, frame[:]); err != nil {
			return err
		}
	}
	return nil
}

// TestCostOfASaturatedBus reads a saturated bus that another process feeds, and
// says what that costs. PACKLINK_COST is for how long; one second if not given.
func TestCostOfASaturatedBus(t *testing.T) {
	length := time.Second
	if text := os.Getenv("PACKLINK_COST"); text != "" {
		var err error
		if length, err = time.ParseDuration(text); err != nil {
			t.Fatal(err)
		}
	}
	s, other := pairedSocket(t)
	startFeeder(t, length, other)
	readSaturated(t, s, int(length.Seconds()*saturated))
}

// readSaturated reads n numbered frames and reports the cost of all but the first
// tenth.
func readSaturated(t *testing.T, s *socket, n int) {
	var f transport.Frame
	var late time.Duration
	var before cost
	for i := range n {
		if i == n/10 {
			before = costNow(t)
		}
		if err := s.Receive(&f); err != nil {
			t.Fatal(err)
		}
		if got := binary.LittleEndian.Uint64(f.Data); got != uint64(i) {
			t.Fatalf("frame %d came as number %d", got, i)
		}
		late = max(late, time.Since(time.Unix(0, f.Time)))
	}
	after := costNow(t)
	read := float64(n - n/10)
	if perFrame := float64(after.allocations-before.allocations) / read; perFrame > 0.01 {
		t.Errorf("%.3f allocations a frame", perFrame)
	}
	t.Logf("%d frames in %.2f s: %.2f %% of one core, at most %s late", n-n/10, (after.at - before.at).Seconds(),
		100*(after.cpu-before.cpu).Seconds()/(after.at-before.at).Seconds(), late.Round(time.Microsecond))
}

// cost is what this process has used up.
type cost struct {
	at, cpu     time.Duration
	allocations uint64
}

func costNow(t *testing.T) cost {
	var used unix.Rusage
	var memory runtime.MemStats
	runtime.ReadMemStats(&memory)
	if err := unix.Getrusage(unix.RUSAGE_SELF, &used); err != nil {
		t.Fatal(err)
	}
	return cost{
		at: time.Duration(time.Now().UnixNano()), cpu: time.Duration(used.Utime.Nano() + used.Stime.Nano()),
		allocations: memory.Mallocs,
	}
}

// pairedSocket is a socket that reads frames from a pair of AF_UNIX datagram
// sockets, for machines without CAN. The other end takes frames as the kernel
// would hand them over.
func pairedSocket(t testing.TB) (*socket, *os.File) {
	t.Helper()
	fds, err := unix.Socketpair(unix.AF_UNIX, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		t.Fatal(err)
	}
	if err := unix.SetNonblock(fds[0], true); err != nil {
		t.Fatal(err)
	}
	enlarge(fds[0])
	s, err := newSocket(transport.Endpoint{Scheme: "can", Address: "paired0"}, func(Event) {})
	if err != nil {
		t.Fatal(err)
	}
	s.fd = fds[0]
	other := os.NewFile(uintptr(fds[1]), "paired")
	t.Cleanup(func() { closeAll(t, s, other) })
	return s, other
}

func closeAll(t testing.TB, all ...io.Closer) {
	t.Helper()
	for _, c := range all {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	}
}
