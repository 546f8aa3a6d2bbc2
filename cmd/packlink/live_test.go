package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping/checksum"
	"packlink/mapping/library"
	"packlink/transport"
	"packlink/transport/capture"
)

// rtu is a Modbus RTU frame with its CRC.
func rtu(bytes ...byte) []byte {
	return binary.LittleEndian.AppendUint16(bytes, uint16(checksum.Modbus.Table().Sum(bytes)))
}

// workedExample are the registers 0 to 39 of the worked example's pack.
func workedExample(t *testing.T) []byte {
	t.Helper()
	table, err := library.Compile("marrowfen-mf16")
	if err != nil {
		t.Fatal(err)
	}
	return table.Programs[0].Examples[0].Payload
}

// deviceServer is a serial device server whose line another master asks. It
// counts the bytes that come in.
func deviceServer(t *testing.T) (endpoint string, heard *logged) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { listener.Close() })
	heard = &logged{}
	question := rtu(1, 3, 0, 0, 0, 40)
	answer := rtu(append([]byte{1, 3, 80}, workedExample(t)...)...)
	go func() {
		for {
			c, err := listener.Accept()
			if err != nil {
				return
			}
			go func() {
				buffer := make([]byte, 256)
				for {
					n, err := c.Read(buffer)
					heard.Write(buffer[:n])
					if err != nil {
						return
					}
				}
			}()
			go func() {
				for _, err := c.Write(question); err == nil; _, err = c.Write(question) {
					time.Sleep(10 * time.Millisecond)
					_, _ = c.Write(answer[:30])
					time.Sleep(10 * time.Millisecond)
					_, _ = c.Write(answer[30:])
					time.Sleep(20 * time.Millisecond)
				}
			}()
		}
	}()
	return "tcp:" + listener.Addr().String(), heard
}

// runFor runs a command line for a while.
func runFor(t *testing.T, d time.Duration, args ...string) (out, log string) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	time.AfterFunc(d, cancel)
	o, l := &logged{}, &logged{}
	if code := run(ctx, args, &streams{o, l}); code != exitDone {
		t.Errorf("%v: exit code %d: %s", args, code, l)
	}
	return o.String(), l.String()
}

// TestListenIsSilent listens to a line in every way, and wants the pack seen and
// not one byte sent.
func TestListenIsSilent(t *testing.T) {
	endpoint, heard := deviceServer(t)
	out, _ := runFor(t, time.Second, "listen", "--from", endpoint, "--mapping", "marrowfen-mf16", "--every", "200ms")
	if !strings.Contains(out, `"address":1,"mapping":"marrowfen-mf16"`) || !strings.Contains(out, `"voltage_v":52.94,"current_a":-12.8`) {
		t.Errorf("listen shows %s", out)
	}
	out, _ = runFor(t, time.Second, "listen", "--from", endpoint, "--every", "200ms")
	if !strings.Contains(out, `"id":"bytes"`) {
		t.Errorf("without a mapping listen shows %s", out)
	}
	path := filepath.Join(t.TempDir(), "line.pcapng")
	_, log := runFor(t, time.Second, "record", "--from", endpoint, "--to", path)
	if !strings.Contains(log, " pieces, about") {
		t.Errorf("record says %s", log)
	}
	out, _ = runFor(t, 10*time.Second, "decode", path, "--mapping", "marrowfen-mf16")
	if !strings.Contains(out, `"voltage_v":52.94`) {
		t.Errorf("the recording gives %s", out)
	}
	if sent := heard.String(); sent != "" {
		t.Errorf("%d bytes were sent", len(sent))
	}
}

// TestRecordDoesNotWriteOver refuses a file that is there.
func TestRecordDoesNotWriteOver(t *testing.T) {
	endpoint, _ := deviceServer(t)
	path := filepath.Join(t.TempDir(), "line.pcapng")
	if err := os.WriteFile(path, []byte("dear"), 0o644); err != nil {
		t.Fatal(err)
	}
	var out, log strings.Builder
	if code := run(t.Context(), []string{"record", "--from", endpoint, "--to", path}, &streams{&out, &log}); code != exitFailed {
		t.Errorf("exit code %d: %s", code, log.String())
	}
	if text, _ := os.ReadFile(path); string(text) != "dear" {
		t.Errorf("the file is now %q", text)
	}
}

// TestReplayOntoLine plays the bytes of a capture and wants just them.
func TestReplayOntoLine(t *testing.T) {
	var file bytes.Buffer
	w, err := capture.NewWriter(&file, capture.Bus{Name: "line", Medium: transport.Serial})
	if err != nil {
		t.Fatal(err)
	}
	for i, data := range []string{"one ", "two ", "three"} {
		if err := w.Send(&transport.Frame{Time: int64(i+1) * 1e9, Medium: transport.Serial, Data: []byte(data)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	folder := writeFiles(t, map[string]string{"line.pcapng": file.String()})
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	heard := make(chan string, 1)
	go func() {
		c, err := listener.Accept()
		if err != nil {
			return
		}
		var all bytes.Buffer
		_, _ = all.ReadFrom(c)
		heard <- all.String()
	}()
	_, log := runFor(t, 10*time.Second, "replay", filepath.Join(folder, "line.pcapng"), "--to", "tcp:"+listener.Addr().String(), "--speed", "max")
	if got := <-heard; got != "one two three" {
		t.Errorf("the line heard %q: %s", got, log)
	}
	if !strings.Contains(log, "transmits ") || !strings.Contains(log, "3 pieces sent, 0 left out") {
		t.Errorf("replay says %s", log)
	}
}

// TestBridgePolls asks a device behind a serial device server, and shows it.
func TestBridgePolls(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	answer := rtu(append([]byte{1, 3, 80}, workedExample(t)...)...)
	go func() {
		c, err := listener.Accept()
		if err != nil {
			return
		}
		question := make([]byte, 8)
		for {
			if _, err := c.Read(question); err != nil {
				return
			}
			switch {
			case bytes.Equal(question, rtu(1, 3, 0, 0, 0, 40)):
				_, _ = c.Write(answer)
			case question[0] == 1:
				_, _ = c.Write(rtu(1, 0x83, 2))
			}
		}
	}()
	folder := writeFiles(t, map[string]string{"bridge.yaml": `
sources: [{name: shed, from: "tcp:` + listener.Addr().String() + `", mapping: marrowfen-mf16, poll: true, addresses: [1, 3]}]
outputs: [{to: "stdout:?every=300ms"}]
`})
	out, log := runFor(t, 2*time.Second, "bridge", filepath.Join(folder, "bridge.yaml"))
	if !strings.Contains(out, `"source":"shed","address":1`) || !strings.Contains(out, `"voltage_v":52.94`) || !strings.Contains(out, `"packs":2,"packs_fresh":1`) {
		t.Errorf("the bridge shows %s and says %s", out, log)
	}
}

// TestScreen draws a pack on a terminal of 80 columns and on a small one.
func TestScreen(t *testing.T) {
	table, err := library.Compile("marrowfen-mf16")
	if err != nil {
		t.Fatal(err)
	}
	h := &hearing{endpoint: "serial:/dev/ttyUSB0", raw: newRawFrames(), decoder: decode.NewDecoder(table, "line")}
	const now = 1_780_000_000_000_000_000
	if text := strings.Join(h.screen(now, 80), "\n"); !strings.Contains(text, "no pack is heard yet") {
		t.Errorf("before the first pack:\n%s", text)
	}
	for _, data := range [][]byte{rtu(1, 3, 0, 0, 0, 40), rtu(append([]byte{1, 3, 80}, workedExample(t)...)...)} {
		_ = h.take(&transport.Frame{Time: now, Medium: transport.Serial, Data: data})
	}
	lines := h.screen(now+1e9, 80)
	text := strings.Join(lines, "\n")
	for _, want := range []string{
		"line address 1   marrowfen-mf16   1 s ago", "voltage 52.94 V  current -12.8 A", "soc 88 %  (1 s)", "3.289v", "3.314^",
		"allowed yes  current limit 50 A", "discharge overcurrent warning", "cells 9",
		"cells in V, sensors in degC; ^ highest, v lowest", "power -677.632 W",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the screen lacks %q:\n%s", want, text)
		}
	}
	for _, line := range lines {
		if len([]rune(line)) > 80 {
			t.Errorf("longer than 80 characters: %s", line)
		}
	}
	small := drawn(lines, 30, 6)
	if !strings.Contains(small, "more lines") || strings.Count(small, "\r\n") != 5 || !strings.HasPrefix(small, home) {
		t.Errorf("on a small terminal:\n%s", small)
	}
	gone := strings.Join(h.screen(now+60e9, 80), "\n")
	if strings.Contains(gone, "highest") || !strings.Contains(gone, "not heard any more") || strings.Contains(gone, "52.94") {
		t.Errorf("a minute later:\n%s", gone)
	}
}

func TestRawFramesShowWhatChanged(t *testing.T) {
	r := newRawFrames()
	r.take(&transport.Frame{Time: 1e9, Medium: transport.CAN, ID: 0x351, Data: []byte{1}})
	if text := strings.Join(r.table(1, 2e9), "\n"); !strings.Contains(text, "351          1.0     1.0 * 01") {
		t.Errorf("new:\n%s", text)
	}
	r.take(&transport.Frame{Time: 2e9, Medium: transport.CAN, ID: 0x351, Data: []byte{1}})
	if text := strings.Join(r.table(1, 2e9), "\n"); !strings.Contains(text, "351          1.0     0.0   01") {
		t.Errorf("the same again:\n%s", text)
	}
	for id := range uint32(5000) {
		r.take(&transport.Frame{Medium: transport.CAN, Flags: transport.Extended, ID: id})
	}
	if text := strings.Join(r.table(1, 2e9), "\n"); !strings.Contains(text, "of further ids") {
		t.Error("five thousand ids are all kept")
	}
	var s pack.Status
	if packLines(&s, 80)[1] != "  not heard any more" {
		t.Error("an unknown pack shows values")
	}
}

// TestListenSaysThatAPackIsSilent wants a record that forbids after the pack's
// time-outs, in a pipe too.
func TestListenSaysThatAPackIsSilent(t *testing.T) {
	table, err := library.Compile("storage-can-35x")
	if err != nil {
		t.Fatal(err)
	}
	h := &hearing{endpoint: "can:can0", raw: newRawFrames(), decoder: decode.NewDecoder(table, "can0")}
	_ = h.take(&transport.Frame{Time: 1e18, Medium: transport.CAN, ID: 0x35C, Data: []byte{0xC0, 0}})
	var out strings.Builder
	if err := h.writeLines(&streams{&out, &out}, 1e18+4e9); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), `"charge_allowed":false,"discharge_allowed":false,"stale":["charge_allowed"`) {
		t.Errorf("four seconds later: %s", out.String())
	}
}

// TestKilledRecording kills a recording without a warning: what was heard up to
// a second before is there.
func TestKilledRecording(t *testing.T) {
	endpoint, _ := deviceServer(t)
	path := filepath.Join(t.TempDir(), "line.pcapng")
	cmd := exec.Command("packlink", "record", "--from", endpoint, "--to", path) // TestMain puts the program in the path
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(2500 * time.Millisecond)
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait()
	out, _ := runFor(t, 10*time.Second, "decode", path, "--mapping", "marrowfen-mf16", "--every", "0")
	if n := strings.Count(out, "\n"); n < 15 { // one exchange in 40 ms, and at least a second on the disk
		t.Errorf("a recording killed after 2.5 s gives %d records", n)
	}
}

// TestDissectorReadsLine lets tshark find the Modbus frames in a recording of a
// serial line.
func TestDissectorReadsLine(t *testing.T) {
	needPeer(t, "tshark")
	endpoint, _ := deviceServer(t)
	path := filepath.Join(t.TempDir(), "line.pcapng")
	runFor(t, time.Second, "record", "--from", endpoint, "--to", path)
	questions := tshark(t, "-r", path, "-d", "rtacser.data,mbrtu", "-o", "mbrtu.crc_verification:TRUE",
		"-Y", "modbus.func_code == 3 && modbus.reference_num == 0 && modbus.word_cnt == 40", "-T", "fields", "-e", "frame.number")
	if len(strings.Fields(questions)) < 5 {
		t.Errorf("tshark finds the questions in frames %q", questions)
	}
}

// TestRecordThenDecodeIsDecodingLive takes the same bytes of a line into a
// recording and into a decoder: the recording gives the same records.
func TestRecordThenDecodeIsDecodingLive(t *testing.T) {
	endpoint, _ := deviceServer(t)
	from, err := transport.ParseEndpoint(endpoint)
	if err != nil {
		t.Fatal(err)
	}
	table, err := library.Compile("marrowfen-mf16")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "line.pcapng")
	recorder, err := capture.NewRecorder(path, capture.Rotation{}, capture.Bus{Name: from.Address, Medium: transport.Serial})
	if err != nil {
		t.Fatal(err)
	}
	var live strings.Builder
	sampler := decode.NewSampler(table, 0, func(int) string { return from.Address }, func(s *pack.Status) error {
		live.Write(append(s.AppendJSON(nil), '\n'))
		return nil
	})
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(time.Second, cancel)
	r, err := listenTo(ctx, from, func(string) {})
	if err != nil {
		t.Fatal(err)
	}
	if err := receive(ctx, r, func(f *transport.Frame) error {
		if err := recorder.Send(f); err != nil {
			return err
		}
		return sampler.Frame(f)
	}); err != nil {
		t.Fatal(err)
	}
	if err := recorder.Close(); err != nil {
		t.Fatal(err)
	}
	again, _ := runFor(t, 10*time.Second, "decode", path, "--mapping", "marrowfen-mf16", "--every", "0")
	if live.Len() == 0 || again != live.String() {
		t.Errorf("live\n%s\nfrom the recording\n%s", live.String(), again)
	}
}

// TestReplayOfAnotherBus fails instead of sending nothing.
func TestReplayOfAnotherBus(t *testing.T) {
	endpoint, _ := deviceServer(t)
	folder := writeFiles(t, map[string]string{"can.log": shortLog})
	var out, log strings.Builder
	code := run(t.Context(), []string{"replay", filepath.Join(folder, "can.log"), "--to", endpoint, "--speed", "max"}, &streams{&out, &log})
	if code != exitFailed || !strings.Contains(log.String(), "holds no frames of that bus") {
		t.Errorf("exit code %d: %s", code, log.String())
	}
}
