package canbus

import (
	"errors"
	"os"
	"strings"
	"unsafe"

	"golang.org/x/sys/unix"

	"packlink/transport"
)

func listenSocket(e transport.Endpoint, notify func(Event)) (Listener, error) {
	s, err := dial(e, false, notify)
	if err != nil {
		return nil, err
	}
	return s, nil
}

func openSocket(e transport.Endpoint, notify func(Event)) (Bus, error) {
	s, err := dial(e, true, notify)
	if err != nil {
		return nil, err
	}
	return &sendingSocket{socket: s}, nil
}

// dial opens the interface that the endpoint names. It must be there and up.
func dial(e transport.Endpoint, echo bool, notify func(Event)) (*socket, error) {
	if err := e.Allow(); err != nil {
		return nil, err
	}
	if e.Address == "" {
		return nil, &Error{Endpoint: e.String(), Why: "no interface is named, expected one as in can:can0", Try: "packlink adapters"}
	}
	i, err := findInterface(e.Address)
	if err != nil {
		return nil, notFound(e, err)
	}
	if !i.Up {
		return nil, isDown(e, nil)
	}
	s, err := newSocket(e, notify)
	if err != nil {
		return nil, err
	}
	s.echo = echo
	s.health.Present, s.health.Up = true, true
	if err := s.reopen(i.Index); err != nil {
		return nil, errors.Join(cannotOpen(e, err), s.Close())
	}
	s.lost = false
	s.found(i)
	return s, nil
}

// receiveBuffer is the memory, in bytes, that the kernel may keep unread frames
// in. It takes about 750 for one, so this is some 40,000: several seconds of the
// fastest bus.
const receiveBuffer = 16 << 20

// allErrors asks for every class of error frame (linux/can/error.h, CAN_ERR_MASK).
const allErrors = 0x1FFFFFFF

// openRaw opens a descriptor that hears an interface.
func openRaw(index int, echo bool) (fd int, err error) {
	fd, err = unix.Socket(unix.AF_CAN, unix.SOCK_RAW|unix.SOCK_CLOEXEC|unix.SOCK_NONBLOCK, unix.CAN_RAW)
	if err != nil {
		return -1, err
	}
	for _, o := range []struct{ level, name, value int }{
		{unix.SOL_CAN_RAW, unix.CAN_RAW_ERR_FILTER, allErrors},
		{unix.SOL_CAN_RAW, unix.CAN_RAW_FD_FRAMES, 1},
		{unix.SOL_CAN_RAW, unix.CAN_RAW_RECV_OWN_MSGS, map[bool]int{true: 1}[echo]},
		{unix.SOL_SOCKET, unix.SO_RXQ_OVFL, 1},
	} {
		err = errors.Join(err, os.NewSyscallError("setsockopt", unix.SetsockoptInt(fd, o.level, o.name, o.value)))
	}
	enlarge(fd)
	if err == nil {
		err = unix.Bind(fd, &unix.SockaddrCAN{Ifindex: index})
	}
	if err != nil {
		unix.Close(fd)
		return -1, err
	}
	return fd, nil
}

// enlarge asks for a large receive buffer and for time stamps. Both are best
// effort: a kernel older than 5.1 gives no such time stamps, and a frame then has
// the time at which it was read.
func enlarge(fd int) {
	if unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, receiveBuffer) != nil {
		unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF, receiveBuffer)
	}
	unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_TIMESTAMPNS_NEW, 1)
}

// The numbers that SO_MEMINFO gives (linux/sock_diag.h): how many there are, and
// which one counts the frames that found no room.
const (
	memoryNumbers = 9
	memoryDrops   = 8
)

// dropsOf is how many more frames a descriptor lost than were known of. The
// kernel tells of a loss with the next frame only; this tells without one.
func dropsOf(fd int, known uint32) uint32 {
	var numbers [memoryNumbers]uint32
	size := uint32(unsafe.Sizeof(numbers))
	_, _, errno := unix.Syscall6(unix.SYS_GETSOCKOPT, uintptr(fd), unix.SOL_SOCKET, unix.SO_MEMINFO,
		uintptr(unsafe.Pointer(&numbers)), uintptr(unsafe.Pointer(&size)), 0)
	if errno != 0 {
		return 0
	}
	return numbers[memoryDrops] - known
}

// isVirtual tells whether an interface is by its name a virtual one, which has
// no bit rate.
func isVirtual(name string) bool { return strings.HasPrefix(name, "vcan") }

func notFound(e transport.Endpoint, err error) error {
	try := "ip -brief link show type can"
	if isVirtual(e.Address) {
		try = "ip link add " + e.Address + " type vcan && ip link set " + e.Address + " up"
	}
	if !errors.Is(err, errNoInterface) {
		return &Error{Endpoint: e.String(), Why: "the interfaces of this machine cannot be listed", Cause: err}
	}
	return &Error{Endpoint: e.String(), Why: "there is no CAN interface " + e.Address, Try: try}
}

func isDown(e transport.Endpoint, cause error) error {
	try := "ip link set " + e.Address + " up type can bitrate 500000"
	if isVirtual(e.Address) {
		try = "ip link set " + e.Address + " up"
	}
	return &Error{Endpoint: e.String(), Why: e.Address + " is down", Try: try, Cause: cause}
}

func cannotOpen(e transport.Endpoint, err error) error {
	if errors.Is(err, unix.EAFNOSUPPORT) || errors.Is(err, unix.EPROTONOSUPPORT) {
		return &Error{Endpoint: e.String(), Why: "this kernel has no CAN sockets", Try: "modprobe can-raw", Cause: err}
	}
	return &Error{Endpoint: e.String(), Why: "the interface cannot be opened", Cause: err}
}
