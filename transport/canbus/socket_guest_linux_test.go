package canbus

import (
	"encoding/binary"
	"errors"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"packlink/transport"
	"packlink/transport/canbus/guest/link"
)

// On a virtual interface every frame comes from this machine, and is Sent.

func TestGuestHears(t *testing.T) {
	needGuest(t)
	bus, _ := hear(t, "vcan0")
	begun := time.Now().UnixNano()
	cansend(t, "vcan0", "123#1122334455667788", "12345678#", "7FF#R", "18FEF7F3#AABB", "00000001#R", "213##311223344")
	last := begun
	for _, want := range []string{"123#1122334455667788 S", "12345678# S", "7FF#R S", "18FEF7F3#AABB S", "00000001#R S", "213##011223344 S"} {
		var f transport.Frame
		if err := bus.Receive(&f); err != nil {
			t.Fatal(err)
		}
		if got := dump(&f); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
		if f.Time < last || f.Time > time.Now().UnixNano() {
			t.Errorf("%s: time %d, between %d and now", want, f.Time, last)
		}
		last = f.Time
	}
}

func TestGuestSends(t *testing.T) {
	needGuest(t)
	seen := watch(t, "vcan0")
	bus, err := Open(onBus("vcan0"), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer closeAll(t, bus)
	for _, f := range []transport.Frame{
		{ID: 0x123, Data: []byte{0x11, 0x22}},
		{ID: 0x123, Flags: transport.Extended, Data: []byte{1, 2, 3, 4, 5, 6, 7, 8}},
		{ID: 0x7FF, Flags: transport.Remote},
		{ID: 0x1FFFFFFF, Flags: transport.FD | transport.Extended, Data: make([]byte, 12)},
	} {
		f.Medium = transport.CAN
		if err := bus.Send(&f); err != nil {
			t.Fatal(err)
		}
		if got, want := next(t, bus), dump(&f)+" S"; got != want {
			t.Errorf("%s came back as %s", want, got)
		}
	}
	const want = "123#1122 00000123#0102030405060708 7FF#R 1FFFFFFF##0000000000000000000000000"
	if got := seen.saw(t, 4); got != want && got != strings.Replace(want, "##0", "##4", 1) {
		t.Errorf("candump saw %s, want %s", got, want)
	}
}

func TestGuestRefusesToSend(t *testing.T) {
	needGuest(t)
	bus, err := Open(onBus("vcan0"), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer closeAll(t, bus)
	for _, f := range []transport.Frame{
		{Medium: transport.Serial},
		{Medium: transport.CAN, ID: 0x800},
		{Medium: transport.CAN, ID: 0x20000000, Flags: transport.Extended},
		{Medium: transport.CAN, ID: 0x20, Flags: transport.BusError},
		{Medium: transport.CAN, Data: make([]byte, 9)},
		{Medium: transport.CAN, Flags: transport.FD, Data: make([]byte, 13)},
		{Medium: transport.CAN, Flags: transport.FD, Data: make([]byte, 65)},
		{Medium: transport.CAN, Flags: transport.Remote, Data: make([]byte, 1)},
	} {
		var typed *Error
		if err := bus.Send(&f); !errors.As(err, &typed) {
			t.Errorf("%v: %v", f, err)
		}
	}
}

func TestGuestTellsTheState(t *testing.T) {
	needGuest(t)
	bus, told := hear(t, "vcan0")
	inject(t, "vcan0",
		errorFrame(0x204, 0, 0x08, 0, 0, 0, 0, 100, 7), // transmit warning, with counters
		errorFrame(0x004, 0, 0x20),                     // transmit passive
		errorFrame(0x004, 0, 0x20),                     // and again
		errorFrame(0x020),                              // no acknowledgement
		errorFrame(0x020),
		errorFrame(0x040),       // bus-off
		errorFrame(0x100),       // restarted
		errorFrame(0x004, 0, 1)) // receive overflow
	cansend(t, "vcan0", "123#")
	for _, want := range []string{
		"00000204#0008000000006407 S", "00000004#0020000000000000 S", "00000004#0020000000000000 S", "00000020#0000000000000000 S",
		"00000020#0000000000000000 S", "00000040#0000000000000000 S", "00000100#0000000000000000 S", "00000004#0001000000000000 S", "123# S",
	} {
		if got := next(t, bus); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
	var states []State
	var kinds []EventKind
	for len(told.all) > 0 {
		e := <-told.all
		kinds = append(kinds, e.Kind)
		if e.Kind == StateChanged {
			states = append(states, e.State)
		}
	}
	if want := []State{Warning, Passive, BusOff, Active}; !slices.Equal(states, want) {
		t.Errorf("states %v, want %v", states, want)
	}
	if want := []EventKind{StateChanged, StateChanged, Unacknowledged, StateChanged, StateChanged, Acknowledged}; !slices.Equal(kinds, want) {
		t.Errorf("told %v, want %v", kinds, want)
	}
	h := bus.Health()
	h.LastReport = time.Time{}
	if want := (Health{Present: true, Up: true, State: Active, Counted: true, TxErrors: 100, RxErrors: 7, ErrorReports: 8, Overruns: 1}); h != want {
		t.Errorf("health %+v, want %+v", h, want)
	}
}

func TestGuestLinkDownAndUp(t *testing.T) {
	needGuest(t)
	bus, err := Open(onBus("vcan1"), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer closeAll(t, bus)
	told := newEvents()
	bus.(*sendingSocket).notify = told.note
	go func() {
		for range 2 {
			must(t, link.Down("vcan1"))
			waitUntil(t, func() bool { return !bus.Health().Up })
			frame := transport.Frame{Medium: transport.CAN}
			if err := bus.Send(&frame); err == nil || !strings.Contains(err.Error(), "vcan1 is down\ntry: ip link set vcan1 up") {
				t.Errorf("sending while it is down: %v", err)
			}
			must(t, link.Up("vcan1"))
			waitUntil(t, func() bool { return bus.Health().Up })
			cansend(t, "vcan1", "123#01")
		}
	}()
	for range 2 {
		if got := next(t, bus); got != "123#01 S" {
			t.Errorf("got %s", got)
		}
	}
	if got := told.kinds(); !slices.Equal(got, []EventKind{LinkDown, Back, LinkDown, Back}) {
		t.Errorf("told %v", got)
	}
}

// must fails a test from any of its goroutines.
func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Error(err)
	}
}

// add makes a virtual interface of its own for a test.
func add(t testing.TB, name string) {
	t.Helper()
	must(t, link.Add(name, "vcan", fdSize))
	must(t, link.Up(name))
}

func TestGuestInterfaceRemovedAndBack(t *testing.T) {
	needGuest(t)
	add(t, "vcan7")
	bus, told := hear(t, "vcan7")
	go func() {
		must(t, link.Delete("vcan7"))
		waitUntil(t, func() bool { return !bus.Health().Present })
		must(t, link.Add("vcan7", "vcan", fdSize))
		waitUntil(t, func() bool { return bus.Health().Present })
		must(t, link.Up("vcan7"))
		waitUntil(t, func() bool { return bus.Health().Up })
		cansend(t, "vcan7", "123#02")
	}()
	if got := next(t, bus); got != "123#02 S L" {
		t.Errorf("got %s", got)
	}
	kinds := told.kinds()
	if kinds[0] == LinkDown { // the kernel lowers an interface before it removes it
		kinds = kinds[1:]
	}
	if !slices.Equal(kinds, []EventKind{Gone, LinkDown, Back}) {
		t.Errorf("told %v", kinds)
	}
	must(t, link.Delete("vcan7"))
}

// TestGuestBurst reads 20,000 frames that cangen sends as fast as it can: each is
// there, or counted as lost.
func TestGuestBurst(t *testing.T) {
	needGuest(t)
	for name, slow := range map[string]bool{"a reader that keeps up": false, "a reader without room": true} {
		t.Run(name, func(t *testing.T) { burst(t, slow) })
	}
}

// burstFrames is how many frames a burst has. One with another id follows it.
const burstFrames = 20_000

func burst(t *testing.T, slow bool) {
	bus, _ := hear(t, "vcan0")
	before := droppedOn(t, "vcan0")
	sender := exec.Command("cangen", "vcan0", "-g", "0", "-n", strconv.Itoa(burstFrames), "-I", "123", "-L", "8", "-D", "i")
	send := func() {
		must(t, sender.Run())
		if slow && bus.Health().Dropped == 0 {
			t.Error("no loss is known before the next frame")
		}
		cansend(t, "vcan0", "124#")
	}
	if slow {
		must(t, unix.SetsockoptInt(bus.fd, unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, 100_000))
		send()
		go cansend(t, "vcan0", "124#") // the first one may have found no room
	} else {
		go send()
	}
	got, gaps, marks := readBurst(t, bus)
	mine, kernels := int(bus.Health().Dropped), droppedOn(t, "vcan0")-before
	t.Logf("%d read, %d lost by this socket, %d by the kernel, %d gaps, %d marks", got, mine, kernels, gaps, marks)
	lost := burstFrames - got
	if lost > mine+kernels || lost < mine-2 { // the frames that end a burst may be among those that were lost
		t.Errorf("%d of %d frames read, %d and %d counted as lost", got, burstFrames, mine, kernels)
	}
	if (lost > 0) != (gaps > 0) || slow != (mine > 0) || slow != (marks > 0) {
		t.Errorf("%d lost, %d by this socket, in %d gaps with %d marks", lost, mine, gaps, marks)
	}
}

// droppedOn is how many frames the kernel dropped before any socket.
func droppedOn(t testing.TB, name string) int {
	t.Helper()
	i, err := findInterface(name)
	must(t, err)
	return int(i.RxDropped)
}

// readBurst reads a burst and gives how many frames of it came, in order, with how
// many gaps, and how many frames were marked as following a loss.
func readBurst(t *testing.T, bus *socket) (got, gaps, marks int) {
	t.Helper()
	expected := uint64(0)
	var f transport.Frame
	for {
		if err := bus.Receive(&f); err != nil {
			t.Fatal(err)
		}
		if f.Flags&transport.Lost != 0 {
			marks++
		}
		if f.ID != 0x123 {
			if got < burstFrames && expected < burstFrames {
				gaps++
			}
			return got, gaps, marks
		}
		number := binary.LittleEndian.Uint64(f.Data)
		if number < expected {
			t.Fatalf("number %d came after %d", number, expected-1)
		}
		if number > expected {
			gaps++
		}
		expected = number + 1
		got++
	}
}

// TestGuestListensInSilence lets everything happen to a listener while candump
// looks on and the kernel counts: nothing but what others sent is on the bus.
func TestGuestListensInSilence(t *testing.T) {
	needGuest(t)
	seen := watch(t, "vcan0")
	before := sentOn(t, "vcan0")
	bus, _ := hear(t, "vcan0")
	if _, can := any(bus).(transport.Sender); can {
		t.Error("a listener has a method to send")
	}
	cansend(t, "vcan0", "7DF#0201050000000000", "7FF#R", "00000001#R", "18EA00FE#00EE00")
	inject(t, "vcan0", errorFrame(0x040), errorFrame(0x020))
	for range 6 {
		next(t, bus)
	}
	if got := seen.saw(t, 4); got != "7DF#0201050000000000 7FF#R 00000001#R 18EA00FE#00EE00" {
		t.Errorf("candump saw %s", got)
	}
	must(t, link.Down("vcan0")) // which ends candump; the kernel counts on
	go func() {
		waitUntil(t, func() bool { return !bus.Health().Up })
		must(t, link.Up("vcan0"))
		waitUntil(t, func() bool { return bus.Health().Up })
		cansend(t, "vcan0", "123#")
	}()
	if got := next(t, bus); got != "123# S" {
		t.Errorf("got %s", got)
	}
	closeAll(t, bus)
	if got := sentOn(t, "vcan0") - before; got != 7 {
		t.Errorf("the kernel counts %d frames that were sent, want the 7 of others", got)
	}
}

// sentOn is how many frames the kernel counts as sent on an interface.
func sentOn(t testing.TB, name string) int {
	t.Helper()
	text, err := os.ReadFile("/sys/class/net/" + name + "/statistics/tx_packets")
	must(t, err)
	n, err := strconv.Atoi(strings.TrimSpace(string(text)))
	must(t, err)
	return n
}

func TestGuestCloseEndsReceive(t *testing.T) {
	needGuest(t)
	add(t, "vcan8")
	for _, state := range []string{"waiting", "down", "removed"} {
		bus, _ := hear(t, "vcan8")
		ended := make(chan error, 1)
		go func() {
			var f transport.Frame
			ended <- bus.Receive(&f)
		}()
		switch state {
		case "down":
			must(t, link.Down("vcan8"))
			waitUntil(t, func() bool { return !bus.Health().Up })
			must(t, link.Up("vcan8"))
		case "removed":
			must(t, link.Delete("vcan8"))
			waitUntil(t, func() bool { return !bus.Health().Present })
		}
		closeAll(t, bus, bus)
		if err := <-ended; !errors.Is(err, os.ErrClosed) {
			t.Errorf("%s: Receive ended with %v", state, err)
		}
	}
}

func TestGuestErrorsHelp(t *testing.T) {
	needGuest(t)
	must(t, link.Add("can9", "vcan", fdSize))
	for name, says := range map[string]string{
		"can9":  "can:can9: can9 is down\ntry: ip link set can9 up type can bitrate 500000",
		"can8":  "can:can8: there is no CAN interface can8\ntry: ip -brief link show type can",
		"vcan9": "can:vcan9: there is no CAN interface vcan9\ntry: ip link add vcan9 type vcan && ip link set vcan9 up",
		"lo":    "can:lo: there is no CAN interface lo\ntry: ip -brief link show type can",
	} {
		if bus, err := Listen(onBus(name), nil); err == nil || err.Error() != says || bus != nil {
			t.Errorf("%s: %v, want %q", name, err, says)
		}
	}
	must(t, link.Delete("can9"))
}

func TestGuestListsInterfaces(t *testing.T) {
	needGuest(t)
	must(t, link.Add("vcan6", "vcan", classicSize))
	all, err := Interfaces()
	must(t, err)
	found := map[string]Interface{}
	for _, i := range all {
		i.Index = 0
		found[i.Name] = i
	}
	if want := (Interface{Name: "vcan0", Kind: "vcan", Up: true, FD: true}); found["vcan0"] != want {
		t.Errorf("%+v, want %+v", found["vcan0"], want)
	}
	if want := (Interface{Name: "vcan6", Kind: "vcan"}); found["vcan6"] != want {
		t.Errorf("%+v, want %+v", found["vcan6"], want)
	}
	must(t, link.Delete("vcan6"))
}

// TestGuestCostOfASaturatedBus says what a saturated bus costs in the guest, whose
// processor is emulated.
func TestGuestCostOfASaturatedBus(t *testing.T) {
	needGuest(t)
	bus, _ := hear(t, "vcan0")
	i, err := findInterface("vcan0")
	must(t, err)
	fd, err := openRaw(i.Index, false)
	must(t, err)
	startFeeder(t, time.Second, os.NewFile(uintptr(fd), "vcan0"))
	readSaturated(t, bus, saturated)
}
