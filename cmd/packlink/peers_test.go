package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"packlink/fixtures/beside"
)

// needPeer skips a test whose independent peer is not installed.
func needPeer(t *testing.T, name string) {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		beside.Missing(t, name, " is not installed; Debian's package of that name has it")
	}
}

// logged is a log that can be read while it is written.
type logged struct {
	mu   sync.Mutex
	text strings.Builder
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// runDemo runs the demonstration bank on free ports, and returns them.
func runDemo(t *testing.T) (web, registers string) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	log := &logged{}
	done := make(chan int)
	go func() {
		done <- run(ctx, []string{"bridge", "--http", "127.0.0.1:0", "--modbus-tcp", "127.0.0.1:0"}, &streams{io.Discard, log})
	}()
	t.Cleanup(func() {
		cancel()
		if code := <-done; code != exitDone {
			t.Errorf("the bridge ended with exit code %d: %s", code, log)
		}
	})
	addresses := regexp.MustCompile(`(?s)http://(\S+)/ .*modbus-tcp 127\.0\.0\.1:(\d+) `)
	for range 200 {
		if found := addresses.FindStringSubmatch(log.String()); found != nil {
			waitForPacks(t, found[1])
			return found[1], found[2]
		}
		time.Sleep(25 * time.Millisecond)
	}
	t.Fatalf("the bridge did not say where it listens: %s", log)
	return "", ""
}

// waitForPacks waits until both packs of the demonstration are heard.
func waitForPacks(t *testing.T, web string) {
	t.Helper()
	for range 200 {
		if members := get(t, web, "/v1/bank"); members["packs_fresh"] == 2.0 && members["cell_max_v"] != nil {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	t.Fatal("the packs of the demonstration are not heard")
}

// get is a JSON object that the bridge shows, nil while it shows none.
func get(t *testing.T, web, path string) map[string]any {
	t.Helper()
	answer, err := http.Get("http://" + web + path)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	var members map[string]any
	if err := json.NewDecoder(answer.Body).Decode(&members); err != nil {
		t.Fatal(err)
	}
	return members
}

// poll reads registers with mbpoll, an independent Modbus master.
func poll(t *testing.T, port string, from, count int) []uint16 {
	t.Helper()
	out, err := exec.Command("mbpoll", "-m", "tcp", "-p", port, "-a", "1", "-r", strconv.Itoa(from+1),
		"-c", strconv.Itoa(count), "-t", "4:hex", "-1", "127.0.0.1").CombinedOutput()
	if err != nil {
		t.Fatalf("mbpoll: %v: %s", err, out)
	}
	var words []uint16
	for _, line := range regexp.MustCompile(`\[\d+\]:\s+0x([0-9A-F]{4})`).FindAllStringSubmatch(string(out), -1) {
		word, _ := strconv.ParseUint(line[1], 16, 16)
		words = append(words, uint16(word))
	}
	if len(words) != count {
		t.Fatalf("mbpoll read %d registers, want %d: %s", len(words), count, out)
	}
	return words
}

// The addresses of the demonstration's registers: the mark, then models 1, 802
// and 803 with two strings, models 804 and 805 of each string with one module of
// 16 cells, model 713, then the end (SunSpec information model definitions:
// lengths 66, 62, 26 + 2 x 32, 46 + 16, 42 + 16 x 4 and 7).
const (
	at1   = 40002
	at802 = at1 + 2 + 66
	at803 = at802 + 2 + 62
	at804 = at803 + 2 + 26 + 2*32
	at713 = at804 + 2*(2+46+16+2+42+16*4)
	atEnd = at713 + 2 + 7
)

// TestModbusMaster reads the running bridge with mbpoll and wants the values of
// the JSON of the same instant.
func TestModbusMaster(t *testing.T) {
	needPeer(t, "mbpoll")
	web, port := runDemo(t)
	before, words := sameInstant(t, web, port)
	head := poll(t, port, 40000, 4)
	if head[0] != 0x5375 || head[1] != 0x6E53 || head[2] != 1 || head[3] != 66 {
		t.Errorf("the registers begin with %04X, want SunS, model 1 of 66 registers", head)
	}
	if end := poll(t, port, atEnd, 2); end[0] != 0xFFFF || end[1] != 0 {
		t.Errorf("the end mark is %04X", end)
	}
	if words[0] != 802 || words[1] != 62 || words[64] != 803 || words[65] != 90 {
		t.Errorf("models are %d of %d and %d of %d", words[0], words[1], words[64], words[65])
	}
	signed := map[string]bool{"current_a": true, "power_w": true}
	// Points of model 802 by their published offset, with that of their scale factor.
	for key, at := range map[string][2]int{
		"nominal_ah": {2, 52}, "soc_pct": {11, 56}, "soh_pct": {13, 58}, "voltage_v": {34, 59},
		"charge_voltage_limit_v": {35, 59}, "discharge_voltage_limit_v": {36, 59}, "cell_max_v": {37, 60}, "cell_min_v": {40, 60},
		"current_a": {44, 61}, "charge_current_limit_a": {45, 62}, "discharge_current_limit_a": {46, 62}, "power_w": {47, 63},
	} {
		raw := float64(words[at[0]])
		if signed[key] {
			raw = float64(int16(words[at[0]]))
		}
		step := math.Pow10(int(int16(words[at[1]])))
		want, _ := before[key].(float64)
		if got := raw * step; math.Abs(got-want) > step/2+1e-9 {
			t.Errorf("%s: registers say %v, JSON says %v", key, got, want)
		}
	}
	shares, _ := before["shares"].([]any)
	for i, share := range shares {
		want := share.(map[string]any)["current_a"].(float64)
		power := math.Pow10(int(int16(words[64+24]))) // A_SF of model 803
		if got := float64(int16(words[64+28+32*i+6])) * power; math.Abs(got-want) > 0.05 {
			t.Errorf("string %d: registers say %v A, JSON says %v A", i+1, got, want)
		}
	}
}

// sameInstant reads models 802 and 803 between two equal states of the bank.
func sameInstant(t *testing.T, web, port string) (map[string]any, []uint16) {
	t.Helper()
	for range 50 {
		before := get(t, web, "/v1/bank")
		words := append(poll(t, port, at802, 64), poll(t, port, at803, 92)...)
		after := get(t, web, "/v1/bank")
		if before["time"] == after["time"] {
			return before, words
		}
	}
	t.Fatal("the bank changed during each of 50 reads")
	return nil, nil
}

// TestDissector lets tshark listen to an exchange with the bridge: it must
// find Modbus in it, and nothing to complain of.
func TestDissector(t *testing.T) {
	needPeer(t, "mbpoll")
	needPeer(t, "tshark")
	_, port := runDemo(t)
	file := filepath.Join(t.TempDir(), "exchange.pcapng")
	stop := listenOnLoopback(t, port, file)
	poll(t, port, at802, 64)
	poll(t, port, at803, 92)
	stop()
	decode := []string{"-r", file, "-o", "mbtcp.tcp.port:" + port}
	complaints := tshark(t, append(decode, "-Y", "_ws.malformed || modbus.exception_code || _ws.expert.severity == error")...)
	if complaints != "" {
		t.Errorf("tshark complains:\n%s", complaints)
	}
	words := tshark(t, append(decode, "-Y", "modbus.func_code == 3 && modbus.regval_uint16", "-T", "fields", "-e", "modbus.regval_uint16")...)
	if got := len(strings.FieldsFunc(words, func(r rune) bool { return r == ',' || r == '\n' })); got != 64+92 {
		t.Errorf("tshark found %d registers in the answers, want %d", got, 64+92)
	}
}

func tshark(t *testing.T, args ...string) string {
	t.Helper()
	out, err := exec.Command("tshark", args...).Output()
	if err != nil {
		t.Fatalf("tshark %v: %v", args, err)
	}
	return strings.TrimSpace(string(out))
}

// listenOnLoopback captures a port's traffic until stop is called.
func listenOnLoopback(t *testing.T, port, file string) (stop func()) {
	t.Helper()
	cmd := exec.Command("tshark", "-i", "lo", "-f", "tcp port "+port, "-w", file)
	log := &logged{}
	cmd.Stderr = log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for range 400 {
		if strings.Contains(log.String(), "Capture started") || strings.Contains(log.String(), "permission") {
			break
		}
		time.Sleep(25 * time.Millisecond)
	}
	if strings.Contains(log.String(), "permission") {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		beside.Missing(t, "tshark may not listen on the loopback interface here: it needs privileges")
	}
	return func() {
		time.Sleep(500 * time.Millisecond)
		_ = cmd.Process.Signal(os.Interrupt)
		if err := cmd.Wait(); err != nil {
			t.Fatal(fmt.Errorf("tshark: %w: %s", err, log))
		}
	}
}

// TestDissectorReadsRecording lets tshark read a recording that packlink wrote.
func TestDissectorReadsRecording(t *testing.T) {
	needPeer(t, "tshark")
	ids := tshark(t, "-r", "demo/boathouse.pcapng", "-T", "fields", "-e", "can.id")
	found := make(map[string]int)
	for _, id := range strings.Fields(ids) {
		number, err := strconv.ParseUint(id, 0, 32)
		if err != nil {
			t.Fatal(err)
		}
		found[fmt.Sprintf("%08X", number)]++
	}
	for _, id := range []string{"18FF4001", "18FF4002", "18FF4802"} {
		if found[id] != 240 {
			t.Errorf("tshark finds %d frames of %s, want 240", found[id], id)
		}
	}
}

// TestTakenPort gets a clear error and the flag to change it.
func TestTakenPort(t *testing.T) {
	web, _ := runDemo(t)
	var out, log strings.Builder
	code := run(t.Context(), []string{"bridge", "--http", web, "--modbus-tcp", "127.0.0.1:0"}, &streams{&out, &log})
	if code != exitFailed || !strings.Contains(log.String(), "another program has this port") || !strings.Contains(log.String(), "try: packlink bridge --http") {
		t.Errorf("exit %d: %s", code, log.String())
	}
}
