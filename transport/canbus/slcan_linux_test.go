package canbus

import (
	"errors"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"packlink/transport"
)

func TestAdapterSetUp(t *testing.T) {
	for name, c := range map[string]struct {
		options string
		sending bool
		want    string
	}{
		"listening":    {"", false, " C S6 L"},
		"flags":        {"&flags=true", false, " C S6 F L"},
		"sending":      {"", true, " C S6 O"},
		"another baud": {"&baud=2000000", false, " C S6 L"},
	} {
		p := startPeer(t, obedient)
		var bus transport.Receiver
		var err error
		if c.sending {
			bus, err = Open(p.endpoint(c.options), nil)
		} else {
			bus, err = Listen(p.endpoint(c.options), nil)
		}
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if got := p.commands(); got != c.want {
			t.Errorf("%s: the adapter was told %q, want %q", name, got, c.want)
		}
		closeAll(t, bus)
		waitUntil(t, func() bool { return p.commands() == c.want+" C" })
	}
}

// waitUntil waits until something holds, and fails when it does not for long.
func waitUntil(t testing.TB, holds func() bool) {
	t.Helper()
	for begun := time.Now(); !holds(); time.Sleep(time.Millisecond) {
		if time.Since(begun) > 20*time.Second {
			t.Error("it did not come about")
			return
		}
	}
}

func TestAdapterThatIsNone(t *testing.T) {
	for name, c := range map[string]struct {
		answer func(string) string
		says   string
	}{
		"silent":             {func(string) string { return "" }, "nothing answers there as a serial-line CAN adapter does"},
		"an echo":            {func(c string) string { return c + "\r" }, "nothing answers there"},
		"a talker":           {func(string) string { return "$GPGGA,123519,4807.038,N\r\n" }, "nothing answers there"},
		"a login":            {func(string) string { return "login: " }, "nothing answers there"},
		"no such bit rate":   {except("S6", "\a"), "refuses the bit rate 500000"},
		"cannot only listen": {except("L", "\a"), "never takes part on the bus"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := startPeer(t, c.answer)
			bus, err := Listen(p.endpoint(""), nil)
			var typed *Error
			if !errors.As(err, &typed) || !strings.Contains(err.Error(), c.says) || bus != nil {
				t.Errorf("%v, want an *Error that says %q", err, c.says)
			}
			if strings.Contains(p.commands(), "O") {
				t.Errorf("it was told %q: O takes part on the bus", p.commands())
			}
		})
	}
}

func TestAdapterPortTrouble(t *testing.T) {
	file := t.TempDir() + "/file"
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for path, says := range map[string]string{
		"/dev/no-such-port": "no such file or directory\ntry: ls -l /dev/serial/by-id",
		file:                "this is no serial port",
	} {
		e := transport.Endpoint{Scheme: "slcan", Address: path, Options: map[string]string{"bitrate": "250000"}}
		if _, err := Listen(e, nil); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want an error that says %q", path, err, says)
		}
	}
}

// listenTo listens to the peer and gives what it tells.
func listenTo(t testing.TB, p *peer, options string) (Listener, *events) {
	t.Helper()
	told := newEvents()
	bus, err := Listen(p.endpoint(options), told.note)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { closeAll(t, bus) })
	return bus, told
}

// receive gives the next frame as text: id, flags, data.
func receive(t testing.TB, bus transport.Receiver) string {
	t.Helper()
	var f transport.Frame
	if err := bus.Receive(&f); err != nil {
		t.Fatal(err)
	}
	r := record{kind: frameRecord, id: f.ID, flags: f.Flags, length: len(f.Data)}
	copy(r.data[:], f.Data)
	if f.Flags&transport.BusError != 0 {
		r.kind = reportRecord
	}
	text := r.text()
	if f.Flags&transport.Lost != 0 {
		text += " lost"
	}
	return text
}

func TestAdapterHears(t *testing.T) {
	p := startPeer(t, obedient)
	bus, told := listenTo(t, p, "")
	p.say("t1230\rT12ABCDEF2AA55\rr1230\rsp128000\re1a\rgarbage\rt4563112233\r\aT1FFFFFFF0\re1o\rt7FF0\r")
	for _, want := range []string{
		"123#", "12ABCDEF#AA55", "123#R", "204 0030000000000080", "20 0000001900000000",
		"456#112233 lost", "1FFFFFFF#", "4 0001000000000000", "7FF#",
	} {
		if got := receive(t, bus); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	h := bus.Health()
	h.LastReport = time.Time{}
	want := Health{Present: true, Up: true, BitRate: 500_000, State: Passive, Counted: true, RxErrors: 128, ErrorReports: 3, Overruns: 1, Damaged: 1, Refused: 1}
	if h != want {
		t.Errorf("health %+v, want %+v", h, want)
	}
	kinds := []EventKind{StateChanged, Unacknowledged, Acknowledged, Refused}
	if got := told.kinds(); !slices.Equal(got, kinds) {
		t.Errorf("told %v, want %v", got, kinds)
	}
}

// TestAdapterListensInSilence sends everything at a listener: it is told nothing
// but its set-up, and cannot send.
func TestAdapterListensInSilence(t *testing.T) {
	p := startPeer(t, obedient)
	bus, _ := listenTo(t, p, "&flags=true")
	if _, can := bus.(transport.Sender); can {
		t.Error("a listener has a method to send")
	}
	for _, v := range vectors(t) {
		p.say(v.line + "\r\a")
	}
	p.say("t7FE0\r")
	for receive(t, bus) != "7FE# lost" {
	}
	if got := p.commands(); got != " C S6 F L" {
		t.Errorf("the adapter was told %q", got)
	}
}

func TestAdapterSends(t *testing.T) {
	p := startPeer(t, except("t1230", "\a"))
	told := newEvents()
	bus, err := Open(p.endpoint(""), told.note)
	if err != nil {
		t.Fatal(err)
	}
	defer closeAll(t, bus)
	for _, f := range []transport.Frame{
		{Medium: transport.CAN, ID: 0x456, Data: []byte{0x11, 0x22, 0x33}},
		{Medium: transport.CAN, ID: 0x12ABCDEF, Flags: transport.Extended, Data: []byte{0xAA, 0x55}},
		{Medium: transport.CAN, ID: 0x123},
	} {
		if err := bus.Send(&f); err != nil {
			t.Fatal(err)
		}
	}
	const want = " C S6 O t4563112233 T12ABCDEF2AA55 t1230"
	waitUntil(t, func() bool { return p.commands() == want })
	p.say("t7FE0\r")
	receive(t, bus)
	if h := bus.Health(); h.Refused != 1 || !slices.Equal(told.kinds(), []EventKind{Refused}) {
		t.Errorf("health %+v", h)
	}
	fd := transport.Frame{Medium: transport.CAN, Flags: transport.FD}
	if err := bus.Send(&fd); err == nil || !strings.Contains(err.Error(), "serial-line CAN does not carry") {
		t.Errorf("a CAN FD frame: %v", err)
	}
}

// TestAdapterThatTakesNothing sends to an adapter that has stopped reading:
// Send gives up, and Close does not hang.
func TestAdapterThatTakesNothing(t *testing.T) {
	p := startPeer(t, obedient)
	bus, err := Open(p.endpoint(""), nil)
	if err != nil {
		t.Fatal(err)
	}
	p.unplug()
	p.answer = nil
	p.plug()
	frame := transport.Frame{Medium: transport.CAN, Data: make([]byte, 8)}
	port, err := bus.(*sendingAdapter).openPort()
	if err != nil {
		t.Fatal(err)
	}
	old := bus.(*sendingAdapter).port
	bus.(*sendingAdapter).port = port
	for err = nil; err == nil; err = bus.Send(&frame) {
	}
	if !errors.Is(err, errStuck) {
		t.Errorf("%v, want %v", err, errStuck)
	}
	closeAll(t, bus)
	if err := old.pen.close(); err != nil {
		t.Error(err)
	}
	if err := bus.Send(&frame); !errors.Is(err, os.ErrClosed) {
		t.Errorf("Send after Close: %v", err)
	}
}

func TestAdapterComesBack(t *testing.T) {
	p := startPeer(t, obedient)
	bus, told := listenTo(t, p, "")
	p.say("t1230\r")
	receive(t, bus)
	go func() {
		p.unplug()
		waitUntil(t, func() bool { return !bus.Health().Present })
		time.Sleep(2 * firstWait)
		p.plug()
		waitUntil(t, func() bool { return bus.Health().Present })
		p.say("t4560\r")
	}()
	if got := receive(t, bus); got != "456# lost" {
		t.Errorf("got %q", got)
	}
	if got := told.kinds(); !slices.Equal(got, []EventKind{Gone, Back}) {
		t.Errorf("told %v, want gone and back, once each", got)
	}
	if got := p.commands(); got != " C S6 L" {
		t.Errorf("the adapter that came back was told %q", got)
	}
}

// TestAdapterStampsTimes hears two frames that the adapter stamped 50 ms apart and
// handed over further apart. A machine that is slower than the longest delay that
// is believed tries again.
func TestAdapterStampsTimes(t *testing.T) {
	p := startPeer(t, obedient)
	for range 20 {
		bus, _ := listenTo(t, p, "")
		var first, second transport.Frame
		p.say("t123003E8\r")
		if err := bus.Receive(&first); err != nil {
			t.Fatal(err)
		}
		time.Sleep(100 * time.Millisecond)
		p.say("t1230041A\r")
		if err := bus.Receive(&second); err != nil {
			t.Fatal(err)
		}
		read := time.Now().UnixNano()
		closeAll(t, bus)
		step := second.Time - first.Time
		if step >= 50*millisecond && step <= 51*millisecond {
			return
		}
		if read-first.Time < longestDelay {
			t.Fatalf("%d us between frames that were stamped 50 ms apart", step/1000)
		}
	}
	t.Fatal("this machine is too slow")
}

// TestCloseEndsReceive closes a bus that waits, one that is away, and one twice.
func TestCloseEndsReceive(t *testing.T) {
	for _, away := range []bool{false, true} {
		p := startPeer(t, obedient)
		bus, err := Listen(p.endpoint(""), nil)
		if err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() {
			var f transport.Frame
			ended <- bus.Receive(&f)
		}()
		if away {
			p.unplug()
			waitUntil(t, func() bool { return !bus.Health().Present })
		}
		closeAll(t, bus, bus)
		if err := <-ended; !errors.Is(err, os.ErrClosed) {
			t.Errorf("away %t: Receive ended with %v", away, err)
		}
	}
}

func TestAdapterOptions(t *testing.T) {
	for text, says := range map[string]string{
		"slcan:?bitrate=500000":                    "no serial port is named",
		"slcan:/dev/x":                             `bitrate is ""`,
		"slcan:/dev/x?bitrate=499999":              `bitrate is "499999"`,
		"slcan:/dev/x?bitrate=1000000&baud=fast":   `baud is "fast"`,
		"slcan:/dev/x?bitrate=1000000&baud=-1":     `baud is "-1"`,
		"slcan:/dev/x?bitrate=1000000&mode=loud":   `no option "mode"`,
		"slcan:/dev/x?bitrate=1000000&flags=maybe": `flags is "maybe"`,
		"slcan:/dev/x?bitrate=1000000&speed=1":     `no option "speed"`,
		"can:can0?bitrate=500000":                  "takes no options",
		"serial:/dev/x":                            "not a CAN bus",
	} {
		e, err := transport.ParseEndpoint(text)
		if err != nil {
			t.Fatal(err)
		}
		for _, open := range []func() error{
			func() error { _, err := Listen(e, nil); return err },
			func() error { _, err := Open(e, nil); return err },
		} {
			if err := open(); err == nil || !strings.Contains(err.Error(), says) {
				t.Errorf("%s: %v, want an error that says %q", text, err, says)
			}
		}
	}
}
