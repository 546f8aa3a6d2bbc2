package main

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/mapping/library"
	"packlink/transport"
	"packlink/transport/capture"
	"packlink/transport/modbus"
)

// writeFiles writes files into a new folder, which it returns.
func writeFiles(t *testing.T, files map[string]string) string {
	t.Helper()
	folder := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return folder
}

const shortLog = `(1780000000.100000) can0 351#34029001D007C001
(1780000000.103000) can0 355#5F006300
(1780000000.106000) can0 356#9A1499FDE900
(1780000000.109000) can0 35C#C000
`

// readHolding asks a Modbus server's units for registers of unit 1.
func readHolding(units *modbus.Units, from, count int) []byte {
	return units.Answer(1, []byte{3, byte(from >> 8), byte(from), byte(count >> 8), byte(count)}, nil)
}

// TestReaderThatDoesNotRead holds up its own text and nothing else: the page
// goes on, and the program can be stopped.
func TestReaderThatDoesNotRead(t *testing.T) {
	folder := writeFiles(t, map[string]string{"left.log": shortLog, "bridge.yaml": `
sources: [{name: left, from: "capture:left.log?loop=true", mapping: storage-can-35x}]
outputs: [{to: "stdout:?every=1ms"}, {to: "http:127.0.0.1:0"}]
`})
	unread, stuck := io.Pipe()
	defer unread.Close()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	log, done := &logged{}, make(chan int, 1)
	go func() {
		done <- run(ctx, []string{"bridge", filepath.Join(folder, "bridge.yaml")}, &streams{stuck, log})
	}()
	web := waitForAddress(t, log)
	first := waitForTime(t, web, nil)
	waitForTime(t, web, first)
	cancel()
	select {
	case code := <-done:
		if code != exitDone {
			t.Errorf("exit code %d: %s", code, log)
		}
	case <-time.After(5 * time.Second):
		t.Error("the bridge cannot be stopped")
	}
}

func waitForAddress(t *testing.T, log *logged) string {
	t.Helper()
	for range 400 {
		if _, after, found := strings.Cut(log.String(), "http://"); found {
			address, _, _ := strings.Cut(after, "/")
			return address
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("the bridge does not say where it listens: %s", log)
	return ""
}

// waitForTime waits until the bank's newest frame is another one.
func waitForTime(t *testing.T, web string, before any) any {
	t.Helper()
	for range 400 {
		if now := get(t, web, "/v1/bank")["time"]; now != nil && now != before {
			return now
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatal("the bank stands still")
	return nil
}

// TestSilentSource plays a recording to its end. After the time-outs nothing is
// allowed any more, nothing measured is shown, and the source is not healthy.
func TestSilentSource(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	table, err := library.Compile("storage-can-35x")
	if err != nil {
		t.Fatal(err)
	}
	s := newSource(&sourcePlan{name: "left", table: table, speed: capture.FlatOut, open: recorded(func() (transport.Receiver, error) {
		return capture.NewReader(strings.NewReader(shortLog), "left.log")
	})}, func() {})
	var log bytes.Buffer
	s.run(t.Context(), &log)
	b := &bridge{plan: &plan{bank: "shed"}, sources: []*source{s}}
	o := newRegistersOutput(t)

	now := time.Now().UnixNano()
	fresh, health := b.state(now)
	o.publish(fresh, health)
	if !health[0].Fresh || fresh.Whole.Text(pack.Maker) != "" || !bytes.Equal(readHolding(o.units, 40070+34, 1), []byte{3, 2, 0x14, 0x9A}) {
		t.Errorf("fresh: %+v, %s", health, fresh.AppendJSON(nil))
	}
	silent, health := b.state(now + int64(4*time.Second))
	o.publish(silent, health)
	if health[0].Fresh {
		t.Error("a silent source is healthy")
	}
	for what, c := range map[string]struct {
		from int
		want []byte
	}{
		"voltage":         {40070 + 34, []byte{3, 2, 0xFF, 0xFF}},
		"current":         {40070 + 44, []byte{3, 2, 0x80, 0x00}},
		"charge limit":    {40070 + 45, []byte{3, 2, 0, 0}},
		"discharge limit": {40070 + 46, []byte{3, 2, 0, 0}},
	} {
		if got := readHolding(o.units, c.from, 1); !bytes.Equal(got, c.want) {
			t.Errorf("%s of a silent bank: % X, want % X", what, got, c.want)
		}
	}
	record := string(silent.AppendJSON(nil)) + string(silent.Packs[0].AppendJSON(nil))
	if strings.Contains(record, "voltage_v\":") || !strings.Contains(record, `"packs_fresh":0`) || !strings.Contains(record, `"charge_allowed":false`) {
		t.Errorf("a silent bank shows %s", record)
	}
	if !strings.Contains(log.String(), "the recording has ended") {
		t.Errorf("log: %s", log.String())
	}
}

func newRegistersOutput(t *testing.T) *registersOutput {
	t.Helper()
	layout, err := library.Compile("sunspec-battery")
	if err != nil {
		t.Fatal(err)
	}
	return (&outputPlan{table: layout}).newRegisters(new(bytes.Buffer))
}

// TestImageThatDoesNotFit shows nothing instead of an old image, says so once,
// and ends nothing.
func TestImageThatDoesNotFit(t *testing.T) {
	o := newRegistersOutput(t)
	one := bank.Sum("shed", pack.Decimal{}, 1, make([]pack.Status, 1))
	o.publish(one, nil)
	if got := readHolding(o.units, 40000, 2); !bytes.Equal(got, []byte{3, 4, 0x53, 0x75, 0x6E, 0x53}) {
		t.Fatalf("one pack: % X", got)
	}
	many := bank.Sum("shed", pack.Decimal{}, 1, make([]pack.Status, 1000))
	o.publish(many, nil)
	o.publish(many, nil)
	if got := readHolding(o.units, 40000, 2); !bytes.Equal(got, []byte{0x83, 0x0B}) {
		t.Errorf("a thousand packs: % X, want exception 0B", got)
	}
	if text := o.log.(*bytes.Buffer).String(); strings.Count(text, "cannot be shown") != 1 {
		t.Errorf("log: %s", text)
	}
}

// TestSourceIsTriedAgain opens a source that is not there at first.
func TestSourceIsTriedAgain(t *testing.T) {
	table, err := library.Compile("storage-can-35x")
	if err != nil {
		t.Fatal(err)
	}
	tries := 0
	s := newSource(&sourcePlan{name: "left", table: table, speed: capture.FlatOut, open: recorded(func() (transport.Receiver, error) {
		if tries++; tries < 2 {
			return nil, os.ErrNotExist
		}
		return capture.NewReader(strings.NewReader(shortLog), "left.log")
	})}, func() {})
	var log bytes.Buffer
	s.run(t.Context(), &log)
	if packs, _ := s.statuses(nil, time.Now().UnixNano()); tries != 2 || len(packs) != 1 {
		t.Errorf("%d tries, %d packs", tries, len(packs))
	}
	if strings.Count(log.String(), "is tried again") != 1 {
		t.Errorf("log: %s", log.String())
	}
}

func TestLoopFollowsInTime(t *testing.T) {
	l, err := newLoop(func() (transport.Receiver, error) {
		return capture.NewReader(strings.NewReader(shortLog), "left.log")
	})
	if err != nil {
		t.Fatal(err)
	}
	var f transport.Frame
	var times []int64
	for range 9 {
		if err := l.Receive(&f); err != nil {
			t.Fatal(err)
		}
		times = append(times, f.Time)
	}
	const round = 9_000_000 + roundGap // from the first frame to the last, and the pause
	for i := 4; i < len(times); i++ {
		if times[i]-times[i-4] != round {
			t.Errorf("frame %d comes %d ns after the round before, want %d", i, times[i]-times[i-4], int64(round))
		}
	}
}

func TestEmptyRecordingEnds(t *testing.T) {
	l, err := newLoop(func() (transport.Receiver, error) { return emptyRecording{}, nil })
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Receive(new(transport.Frame)); err != io.EOF {
		t.Errorf("got %v, want EOF", err)
	}
}

type emptyRecording struct{}

func (emptyRecording) Receive(*transport.Frame) error { return io.EOF }
func (emptyRecording) Close() error                   { return nil }

// TestUnhealthy wants 503 from a bridge whose source understands nothing.
func TestUnhealthy(t *testing.T) {
	folder := writeFiles(t, map[string]string{"left.log": shortLog, "bridge.yaml": `
sources: [{name: left, from: "capture:left.log?loop=true", mapping: homebrew-can}]
outputs: [{to: "http:127.0.0.1:0"}]
`})
	ctx, cancel := context.WithCancel(t.Context())
	log, done := &logged{}, make(chan int, 1)
	go func() {
		done <- run(ctx, []string{"bridge", filepath.Join(folder, "bridge.yaml")}, &streams{io.Discard, log})
	}()
	web := waitForAddress(t, log)
	time.Sleep(600 * time.Millisecond)
	answer, err := http.Get("http://" + web + "/healthz")
	if err != nil {
		t.Fatal(err)
	}
	answer.Body.Close()
	if answer.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("healthz is %d", answer.StatusCode)
	}
	cancel()
	<-done
}
