package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
	"packlink/transport/canbus"
	"packlink/transport/canbus/guest/job"
)

// needGuest skips a test that needs a kernel with vcan0. In the guest that
// .ci/run boots it never does.
func needGuest(t *testing.T) {
	t.Helper()
	if os.Getenv(job.Marker) == "" {
		t.Skip("needs a kernel with vcan0: see transport/canbus/guest")
	}
}

// candump lets can-utils, an independent peer, write down what it sees on
// vcan0 until the function that it returns is called: the frames as
// "ID#DATA".
func candump(t *testing.T) (seen func() []string) {
	t.Helper()
	cmd := exec.Command("candump", "-L", "vcan0")
	var out bytes.Buffer
	cmd.Stdout = &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(300 * time.Millisecond)
	return func() (frames []string) {
		time.Sleep(300 * time.Millisecond)
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		for _, line := range strings.Split(strings.TrimSpace(out.String()), "\n") {
			if fields := strings.Fields(line); len(fields) >= 3 {
				frames = append(frames, fields[2])
			}
		}
		return frames
	}
}

var benchFrames = []string{"351#34029001D007C001", "355#5F006300", "356#9A1499FDE900", "18FF4001#94147CFF6E03E303"}

// cansend lets can-utils put the frames on vcan0, round by round.
func cansend(t *testing.T, rounds int) {
	t.Helper()
	for range rounds {
		for _, frame := range benchFrames {
			if out, err := exec.Command("cansend", "vcan0", frame).CombinedOutput(); err != nil {
				t.Errorf("cansend: %v: %s", err, out)
			}
		}
	}
}

// TestGuestListenRecordBridge listens, records and bridges beside candump: all
// see the same, and nothing is sent by any of them.
func TestGuestListenRecordBridge(t *testing.T) {
	needGuest(t)
	folder := writeFiles(t, map[string]string{"bridge.yaml": `
sources: [{name: rack, from: "can:vcan0", mapping: storage-can-35x}]
outputs: [{to: "stdout:?every=500ms"}]
`})
	recording := filepath.Join(folder, "bus.pcapng")
	seen := candump(t)
	go func() {
		time.Sleep(time.Second)
		cansend(t, 10)
	}()
	results := make(chan [2]string, 3)
	for i, args := range [][]string{
		{"listen", "--from", "can:vcan0", "--mapping", "storage-can-35x", "--every", "500ms"},
		{"record", "--from", "can:vcan0", "--to", recording},
		{"bridge", filepath.Join(folder, "bridge.yaml")},
	} {
		go func() {
			out, log := runFor(t, 6*time.Second, args...)
			results <- [2]string{fmt.Sprint(i), out + log}
		}()
	}
	for range 3 {
		r := <-results
		if r[0] != "1" && !strings.Contains(r[1], `"voltage_v":52.74,"current_a":-61.5`) {
			t.Errorf("verb %s shows %s", r[0], r[1])
		}
	}
	frames := seen()
	if want := 10 * len(benchFrames); len(frames) != want {
		t.Errorf("candump saw %d frames, and %d were sent by cansend: somebody else sent, or it was late", len(frames), want)
	}
	out, log := runFor(t, 10*time.Second, "decode", recording, "--mapping", "storage-can-35x", "--every", "0")
	if !strings.Contains(log, "40 frames, 30 decoded, 10 unknown") || strings.Count(out, "\n") != 30 {
		t.Errorf("the recording gives %s", log)
	}
}

// TestGuestReplay plays a capture onto vcan0, and candump sees it.
func TestGuestReplay(t *testing.T) {
	needGuest(t)
	var log strings.Builder
	for i, frame := range benchFrames {
		fmt.Fprintf(&log, "(%d.%06d) can0 %s\n", 1780000000, 1000*i, frame)
	}
	folder := writeFiles(t, map[string]string{"bench.log": log.String()})
	seen := candump(t)
	_, said := runFor(t, 10*time.Second, "replay", filepath.Join(folder, "bench.log"), "--to", "can:vcan0")
	if frames := seen(); strings.Join(frames, " ") != strings.Join(benchFrames, " ") {
		t.Errorf("candump saw %v, want %v: %s", frames, benchFrames, said)
	}
}

// TestGuestAdapters lists vcan0.
func TestGuestAdapters(t *testing.T) {
	needGuest(t)
	out, _ := runFor(t, 10*time.Second, "adapters")
	if !strings.Contains(out, "can:vcan0") || !strings.Contains(out, "up") {
		t.Errorf("adapters shows %s", out)
	}
}

// TestGuestBridgeTransmits lets a bridge give what one bus says to another in
// another protocol, and candump sees it there.
func TestGuestBridgeTransmits(t *testing.T) {
	needGuest(t)
	folder := writeFiles(t, map[string]string{"left.log": shortLog, "bridge.yaml": `
sources: [{name: rack, from: "capture:left.log?loop=true", mapping: storage-can-35x}]
outputs: [{to: "can:vcan0", mapping: homebrew-can, transmit: true, shows: {9: rack}}]
`})
	seen := candump(t)
	_, log := runFor(t, 4500*time.Millisecond, "bridge", filepath.Join(folder, "bridge.yaml"))
	counts := make(map[string]int)
	for _, frame := range seen() {
		counts[frame]++
	}
	// Worked by hand: 52.74 V, -61.5 A, 95 %, 99 % at address 9; 56.4 V, 44.8 V, 40 A, 200 A.
	for _, frame := range []string{"18FF4009#9A1499FDB603DE03", "18FF4209#3402C0019001D007"} {
		if counts[frame] < 3 {
			t.Errorf("candump saw %d times %s in 4 s, of %v: %s", counts[frame], frame, counts, log)
		}
	}
}

// TestGuestAsksOnCAN bridges a CANopen module that speaks only when it is asked.
func TestGuestAsksOnCAN(t *testing.T) {
	needGuest(t)
	bus, err := canbus.Open(transport.Endpoint{Scheme: "can", Address: "vcan0"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { bus.Close() })
	go func() { // node 5: 52.5 V in steps of 1/1024 V
		var f transport.Frame
		for bus.Receive(&f) == nil {
			if f.ID == 0x605 && bytes.HasPrefix(f.Data, []byte{0x40, 0x60, 0x60, 0}) {
				_ = bus.Send(&transport.Frame{Medium: transport.CAN, ID: 0x585, Data: []byte{0x43, 0x60, 0x60, 0, 0x00, 0xD2, 0, 0}})
			}
		}
	}()
	folder := writeFiles(t, map[string]string{"bridge.yaml": `
sources: [{name: cart, from: "can:vcan0", mapping: canopen-battery, poll: true, addresses: [5]}]
outputs: [{to: "stdout:?every=500ms"}]
`})
	seen := candump(t)
	out, log := runFor(t, 5*time.Second, "bridge", filepath.Join(folder, "bridge.yaml"))
	if !strings.Contains(out, `"voltage_v":52.5`) {
		t.Errorf("the bridge shows %s%s", out, log)
	}
	for _, frame := range seen() {
		if !strings.HasPrefix(frame, "605#40") && !strings.HasPrefix(frame, "585#") {
			t.Errorf("candump saw %s, which is no question that reads", frame)
		}
	}
}

// TestGuestSimulate lets the simulator speak every built-in mapping of a CAN bus that is
// spoken unasked on vcan0, hears it there, and lets candump see the same ids.
func TestGuestSimulate(t *testing.T) {
	needGuest(t)
	for _, name := range library.Names() {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		if !voltageUnasked(c) {
			continue
		}
		t.Run(name, func(t *testing.T) {
			seen := candump(t)
			simulating(t, "--mapping", name, "--to", "can:vcan0")
			out, _ := runFor(t, 4*time.Second, "listen", "--from", "can:vcan0", "--mapping", name, "--every", "1s")
			if !strings.Contains(out, `"voltage_v":5`) {
				t.Errorf("listen shows %s", out)
			}
			if frames := seen(); len(frames) < 6 {
				t.Errorf("candump sees only %v", frames)
			}
		})
	}
}

// voltageUnasked tells whether packs of a mapping send their voltage on CAN unasked.
func voltageUnasked(c *mapping.Compiled) bool {
	return slices.ContainsFunc(c.Programs, func(p mapping.Program) bool {
		return p.CAN != nil && p.CAN.Ask == nil && slices.ContainsFunc(p.Body.All, func(op mapping.Op) bool {
			return op.Target != nil && op.Quantity == pack.Voltage
		})
	})
}

// TestGuestSimulateAnswers asks a simulated pack on vcan0 with cansend for its state of
// charge, and candump sees its answer: index 6081, by CiA 301 (expedited upload, from
// memory).
func TestGuestSimulateAnswers(t *testing.T) {
	needGuest(t)
	seen := candump(t)
	simulating(t, "--mapping", "canopen-battery", "--to", "can:vcan0")
	if out, err := exec.Command("cansend", "vcan0", "601#4081600000000000").CombinedOutput(); err != nil {
		t.Fatalf("cansend: %v: %s", err, out)
	}
	time.Sleep(time.Second)
	answers := 0
	for _, frame := range seen() {
		if strings.HasPrefix(frame, "581#") && frame[6:12] == "816000" {
			answers++
		}
	}
	if answers != 1 {
		t.Errorf("candump sees %d answers, want 1", answers)
	}
}
