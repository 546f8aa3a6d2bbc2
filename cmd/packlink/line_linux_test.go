package main

import (
	"bytes"
	"context"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.bug.st/serial"

	"packlink/transport"
	"packlink/transport/modbus"
	"packlink/transport/serialbus"
)

// serialCable is a serial line with a port at each end: what one sends the other hears.
func serialCable(t testing.TB) (ours, theirs string) {
	t.Helper()
	a, ours := serialEnd(t)
	b, theirs := serialEnd(t)
	var running sync.WaitGroup
	running.Go(func() { io.Copy(a, b) })
	running.Go(func() { io.Copy(b, a) })
	t.Cleanup(func() { a.Close(); b.Close(); running.Wait() })
	return ours, theirs
}

// serialEnd is the far end of a serial port, and the port's path.
func serialEnd(t testing.TB) (far *os.File, port string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	opened, err := serial.Open(slave.Name(), &serial.Mode{}) // raw from the start: a new pty echoes what arrives
	if err != nil {
		t.Fatal(err)
	}
	opened.Close()
	fd, err := syscall.Dup(int(master.Fd()))
	if err != nil {
		t.Fatal(err)
	}
	syscall.SetNonblock(fd, true)
	master.Close()
	t.Cleanup(func() { slave.Close() })
	return os.NewFile(uintptr(fd), "far end"), slave.Name()
}

// pollLine reads registers on a serial line with mbpoll; the text is its complaint if it
// could not.
func pollLine(port string, unit, from, count int) (words []uint16, text string) {
	out, _ := exec.Command("mbpoll", "-m", "rtu", "-b", "115200", "-P", "none", "-o", "0.5", "-a", strconv.Itoa(unit), "-0",
		"-r", strconv.Itoa(from), "-c", strconv.Itoa(count), "-t", "4:hex", "-1", port).CombinedOutput()
	for _, line := range regexp.MustCompile(`\[\d+\]:\s+0x([0-9A-F]{4})`).FindAllStringSubmatch(string(out), -1) {
		word, _ := strconv.ParseUint(line[1], 16, 16)
		words = append(words, uint16(word))
	}
	return words, string(out)
}

// TestSerialMaster reads a bank and its packs over a serial line with mbpoll: each unit
// shows its own, an unknown pack is not known, and other units are not answered for.
func TestSerialMaster(t *testing.T) {
	needPeer(t, "mbpoll")
	ours, theirs := serialCable(t)
	startBridge(t, t.TempDir(), boat+`outputs:
  - {to: "modbus-rtu:`+ours+`?baud=115200", mapping: sunspec-battery, transmit: true,
     units: {1: bank, 2: boat/1, 3: boat/2, 9: boat/9}}
`, "unit 1 bank, unit 2 boat/1, unit 3 boat/2, unit 9 boat/9: SunSpec")
	for unit, packs := range map[int]uint16{1: 2, 2: 1, 3: 1} {
		var words []uint16
		var text string
		for range 40 { // until the packs are heard
			if words, text = pollLine(theirs, unit, 40000, 125); len(words) == 125 && words[at802-40000+34] != 0xFFFF {
				break
			}
			time.Sleep(50 * time.Millisecond)
		}
		if len(words) != 125 || words[0] != 0x5375 || words[1] != 0x6E53 {
			t.Fatalf("unit %d: got %04X: %s", unit, words, text)
		}
		bank, text := pollLine(theirs, unit, at802, 64)
		if v := voltsOf802(bank); !(v > 50 && v < 58) {
			t.Errorf("unit %d: the voltage is %v V: %s", unit, v, text)
		}
		var strings803 []uint16
		for range 40 { // until all packs are heard
			if strings803, text = pollLine(theirs, unit, at803, 4); len(strings803) == 4 && strings803[2] == packs {
				break
			}
			time.Sleep(50 * time.Millisecond)
		}
		if len(strings803) != 4 || strings803[0] != 803 || strings803[2] != packs {
			t.Errorf("unit %d: model 803 begins with %04X, want %d strings: %s", unit, strings803, packs, text)
		}
	}
	for _, c := range []struct {
		unit, from int
		says       string
	}{{9, 40000, "Target device failed to respond"}, {5, 40000, "Connection timed out"}, {2, 39999, "Illegal data address"}} {
		if _, text := pollLine(theirs, c.unit, c.from, 1); !strings.Contains(text, c.says) {
			t.Errorf("unit %d, address %d: want %q in %s", c.unit, c.from, c.says, text)
		}
	}
}

// voltsOf802 is the voltage in the registers of model 802: V at offset 34, times ten
// to the power V_SF at offset 59 (SunSpec model definitions).
func voltsOf802(words []uint16) float64 {
	if len(words) != 64 {
		return math.NaN()
	}
	return float64(words[34]) * math.Pow10(int(int16(words[59])))
}

// TestSerialOutputLosesPort goes on without the port of an output, says so once, and opens
// the port again when it is back.
func TestSerialOutputLosesPort(t *testing.T) {
	folder := t.TempDir()
	for scheme, layout := range map[string]string{"modbus-rtu": "sunspec-battery", "serial": "uart-a5"} {
		t.Run(scheme, func(t *testing.T) {
			far, port := serialEnd(t)
			path := filepath.Join(folder, scheme)
			if err := os.Symlink(port, path); err != nil {
				t.Fatal(err)
			}
			log := startBridge(t, t.TempDir(), boat+`outputs:
  - {to: "`+scheme+":"+path+`", mapping: `+layout+`, transmit: true}
  - {to: "http:127.0.0.1:0"}
`, "stop with ctrl-c")
			if err := os.Remove(path); err != nil {
				t.Fatal(err)
			}
			far.Close()
			awaitLog(t, log, "the line is lost: the port was unplugged; it is opened again as soon as that works")
			web := waitForAddress(t, log)
			waitForTime(t, web, waitForTime(t, web, nil))
			far, port = serialEnd(t)
			defer far.Close()
			if err := os.Symlink(port, path); err != nil {
				t.Fatal(err)
			}
			awaitLog(t, log, "the line is back")
			if n := strings.Count(log.String(), "the line is"); n != 2 {
				t.Errorf("the loss and the return are told in %d lines: %s", n, log)
			}
		})
	}
}

// lineRegisters is what the line of TestEveryFunctionOnSerialLine shows: registers 0 to 99,
// of which 50 is not known.
func lineRegisters(t *testing.T) *modbus.Units {
	t.Helper()
	block := modbus.Block{Words: make([]uint16, 100), Missing: make([]bool, 100)}
	for i := range block.Words {
		block.Words[i], block.Missing[i] = uint16(i), i == 50
	}
	image, err := modbus.NewImage(modbus.Identity{VendorName: "bench", ProductCode: "line", MajorMinorRevision: "1"}, []modbus.Block{block})
	if err != nil {
		t.Fatal(err)
	}
	units := new(modbus.Units)
	go func() { // as a bridge does
		for t.Context().Err() == nil {
			_ = units.Publish(1, image)
			time.Sleep(time.Second)
		}
	}()
	if err := units.Publish(1, image); err != nil {
		t.Fatal(err)
	}
	return units
}

// onLine is the answer to a request by the order of the state diagrams of the MODBUS
// Application Protocol Specification V1.1b3 (figures 11 and 22), without address and CRC;
// nil is none.
func onLine(function byte, from, quantity int) []byte {
	refused := func(code byte) []byte { return []byte{function | 0x80, code} }
	switch {
	case function >= 0x80:
		return nil // these are answers (section 4.1)
	case function != 3 && function != 4:
		return refused(1)
	case quantity < 1 || quantity > 125:
		return refused(3)
	case from+quantity > 100:
		return refused(2)
	case from <= 50 && from+quantity > 50:
		return refused(0x0B)
	}
	answer := []byte{function, byte(2 * quantity)}
	for i := range quantity {
		answer = append(answer, 0, byte(from+i))
	}
	return answer
}

// TestEveryFunctionOnSerialLine asks by real bytes: each function code, and for those that
// read, addresses and quantities at and beyond the limits.
func TestEveryFunctionOnSerialLine(t *testing.T) {
	t.Parallel()
	far, port := serialEnd(t)
	defer far.Close()
	e := transport.Endpoint{Scheme: "modbus-rtu", Address: port, Options: map[string]string{"baud": "115200"}}
	a, err := serialbus.NewAnswerer(e, []byte{1}, lineRegisters(t).NewReader().Answer, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Open(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	var running sync.WaitGroup
	running.Go(func() { a.TransmitAnswers(ctx) })
	defer running.Wait()
	defer cancel()
	answerOnLine(t, far, rtu(1, 3, 0, 0, 0, 1), rtu(1, 3, 2, 0, 0)) // it is open
	for function := range 256 {
		for _, from := range []int{0, 49, 50, 99, 100, 65535} {
			for _, quantity := range []int{0, 1, 50, 100, 125, 126, 65535} {
				reads := function == 3 || function == 4
				if !reads && (from != 99 || quantity != 1) || function >= 0x84 && function != 0xFF {
					continue
				}
				request := rtu(1, byte(function), byte(from>>8), byte(from), byte(quantity>>8), byte(quantity))
				if want := onLine(byte(function), from, quantity); want != nil {
					answerOnLine(t, far, request, rtu(append([]byte{1}, want...)...))
				} else {
					answerOnLine(t, far, request, nil)
				}
			}
		}
	}
}

// answerOnLine asks at the far end of a line and wants an answer; nil is none.
func answerOnLine(t *testing.T, far *os.File, request, want []byte) {
	t.Helper()
	if _, err := far.Write(request); err != nil {
		t.Fatal(err)
	}
	if want == nil {
		far.SetReadDeadline(time.Now().Add(100 * time.Millisecond))
		if n, err := far.Read(make([]byte, 1)); n > 0 {
			t.Errorf("% X is answered (%v)", request, err)
		}
		return
	}
	got := make([]byte, len(want))
	far.SetReadDeadline(time.Now().Add(10 * time.Second))
	if n, err := io.ReadFull(far, got); err != nil || !bytes.Equal(got, want) {
		t.Fatalf("% X got % X, %v; want % X", request, got[:n], err, want)
	}
}
