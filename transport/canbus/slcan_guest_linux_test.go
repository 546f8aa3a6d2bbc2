package canbus

import (
	"bufio"
	"os"
	"os/exec"
	"testing"
	"unsafe"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"packlink/transport"
	"packlink/transport/canbus/guest/link"
)

// nSLCAN is the number of the line discipline that makes a CAN interface of a
// serial line (linux/tty.h).
const nSLCAN = 17

// kernelAdapter is a pty whose far end the kernel's own driver for serial-line CAN
// holds, with the interface that it made of it. The driver is the other side of
// what an adapter is, but frames look the same in both directions.
func kernelAdapter(t *testing.T) (bus Bus, name string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	ready := make(chan struct{})
	go answerSetUp(master, ready)
	e := transport.Endpoint{Scheme: "slcan", Address: slave.Name(), Options: map[string]string{"bitrate": "500000"}}
	bus, err = Open(e, nil)
	if err != nil {
		t.Fatal(err)
	}
	<-ready
	t.Cleanup(func() { closeAll(t, bus, slave, master) })
	fd := int(master.Fd())
	if err := unix.IoctlSetPointerInt(fd, unix.TIOCSETD, nSLCAN); err != nil {
		t.Fatal(err)
	}
	var request [40]byte // struct ifreq, which begins with the name
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), unix.SIOCGIFNAME, uintptr(unsafe.Pointer(&request))); errno != 0 {
		t.Fatal(errno)
	}
	name = unix.ByteSliceToString(request[:unix.IFNAMSIZ])
	must(t, link.Up(name))
	return bus, name
}

// answerSetUp carries out the commands up to the one that opens the channel,
// which the kernel's driver does not answer.
func answerSetUp(master *os.File, ready chan<- struct{}) {
	defer close(ready)
	commands := bufio.NewReader(master)
	for {
		command, err := commands.ReadString('\r')
		if err != nil {
			return
		}
		if _, err := master.WriteString("\r"); err != nil || command == "O\r" {
			return
		}
	}
}

func TestGuestSerialLineDriver(t *testing.T) {
	needGuest(t)
	bus, name := kernelAdapter(t)
	frames := []string{"123#1122334455667788", "7FF#", "18FEF7F3#AABB", "00000001#R", "7FF#R"}
	for _, f := range frames {
		cansend(t, name, f)
		var heard transport.Frame
		must(t, bus.Receive(&heard))
		if got := dump(&heard); got != f {
			t.Errorf("the driver sent %s, heard %s", f, got)
		}
	}
	seen := watch(t, name)
	for _, f := range []transport.Frame{
		{ID: 0x123, Data: []byte{0x11, 0x22}},
		{ID: 0x123, Flags: transport.Extended, Data: []byte{1, 2, 3, 4, 5, 6, 7, 8}},
		{ID: 0x7FF, Flags: transport.Remote},
		{ID: 0x1FFFFFFF, Flags: transport.Extended},
	} {
		f.Medium = transport.CAN
		must(t, bus.Send(&f))
	}
	if got := seen.saw(t, 4); got != "123#1122 00000123#0102030405060708 7FF#R 1FFFFFFF#" {
		t.Errorf("candump saw %s", got)
	}
	if h := bus.Health(); h.Damaged != 0 || h.Refused != 0 {
		t.Errorf("health %+v", h)
	}
}

// TestGuestSerialLineBurst lets cangen send through the driver as fast as it
// takes frames: each arrives, in order.
func TestGuestSerialLineBurst(t *testing.T) {
	needGuest(t)
	bus, name := kernelAdapter(t)
	const frames = 2000
	sender := exec.Command("cangen", name, "-g", "0", "-p", "10", "-n", "2000", "-I", "123", "-L", "2", "-D", "i") // -p waits for room
	if err := sender.Start(); err != nil {
		t.Fatal(err)
	}
	defer sender.Wait()
	var f transport.Frame
	for n := range frames {
		if err := bus.Receive(&f); err != nil {
			t.Fatal(err)
		}
		if got := int(f.Data[0]) | int(f.Data[1])<<8; got != n || f.Flags != 0 {
			t.Fatalf("frame %d came as number %d, flags %b", n, got, f.Flags)
		}
	}
}
