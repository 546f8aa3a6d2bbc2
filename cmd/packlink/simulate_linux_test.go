package main

import (
	"context"
	"net"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

// simulating runs the simulate verb beside a test, which must see it warn.
func simulating(t *testing.T, args ...string) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	log, done := &logged{}, make(chan int, 1)
	go func() { done <- run(ctx, append([]string{"simulate"}, args...), &streams{&logged{}, log}) }()
	t.Cleanup(func() {
		cancel()
		if code := <-done; code != exitDone {
			t.Errorf("simulate ends with %d: %s", code, log)
		}
		if !strings.Contains(log.String(), "TRANSMITS INVENTED VALUES") {
			t.Errorf("simulate does not warn: %s", log)
		}
	})
	for range 200 {
		if strings.Contains(log.String(), "stop with ctrl-c") {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("simulate does not begin: %s", log)
}

// TestSimulateTellsWhoIsNotShown says at the start which packs of a scenario nobody will see
// on a bus that has room for one, and says nothing where all are seen.
func TestSimulateTellsWhoIsNotShown(t *testing.T) {
	on := func(scheme string) string {
		far, port := serialEnd(t)
		t.Cleanup(func() { far.Close() })
		return scheme + port
	}
	slcan, _ := adapter(t)
	for _, c := range []struct{ mapping, to, scenario, says string }{
		{"uart-a5", on("serial:"), "house-day", "not shown: pack 2, pack 3, as nothing in mapping uart-a5 says which of several packs on a bus is meant; into a capture each pack has a bus of its own\n"},
		{"storage-can-35x", "slcan:" + slcan, "two-packs", "not shown: pack 2, as nothing in mapping storage-can-35x says"},
		{"uart-a5", on("serial:"), "capacity-test", ""},
		{"telecom-ascii-hex", on("serial:"), "house-day", ""},
		{"marrowfen-mf16", on("modbus-rtu:"), "house-day", ""},
		{"sunspec-battery", "modbus-tcp:127.0.0.1:0", "house-day", ""},
	} {
		_, log := runFor(t, 10*time.Second, "simulate", "--mapping", c.mapping, "--to", c.to, "--scenario", c.scenario, "--for", "1ms")
		before, _, _ := strings.Cut(log, "stop with ctrl-c")
		if says := strings.Contains(before, "not shown"); says != (c.says != "") || !strings.Contains(before, c.says) {
			t.Errorf("%s on %s: want %q in %s", c.scenario, c.mapping, c.says, log)
		}
	}
}

// hearUntil polls until both packs are heard, or the only one, with a voltage.
func hearUntil(t *testing.T, e transport.Endpoint, c *mapping.Compiled, addresses []uint32, packs int) *pack.Status {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 15*time.Second)
	defer cancel()
	r, err := ask(ctx, withLineOf(e, c), c, addresses, func(string) {})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	d, f := decode.NewDecoder(c, "line"), transport.Frame{}
	var s pack.Status
	for known := 0; known < packs; {
		if err := r.Receive(&f); err != nil {
			t.Fatalf("%d packs are heard with a voltage: %v; %+v", known, err, d.LineCounters())
		}
		d.Decode(&f)
		known = 0
		for i := range d.Packs() {
			if d.Status(i, time.Now().UnixNano(), &s); s.Has(pack.Voltage) {
				known++
			}
		}
	}
	return &s
}

// plausible holds a status to what the scenario two-packs can give.
func plausible(t *testing.T, s *pack.Status) {
	t.Helper()
	volts, ok := s.Usable(pack.Voltage)
	if !ok || volts.Float64() < 51 || volts.Float64() > 56 {
		t.Errorf("pack %d has %s V", s.Address, volts)
	}
}

// TestSimulateOnALine lets the simulator answer on a real serial line, for every built-in
// mapping of one.
func TestSimulateOnALine(t *testing.T) {
	for _, c := range serialTables(t) {
		t.Run(c.Name, func(t *testing.T) {
			ours, theirs := serialCable(t)
			simulating(t, "--mapping", c.Name, "--to", "serial:"+ours)
			packs := 2
			if c.OneOnABus() {
				packs = 1
			}
			plausible(t, hearUntil(t, transport.Endpoint{Scheme: "serial", Address: theirs}, c, []uint32{1, 2}[:packs], packs))
		})
	}
}

// TestSimulateRegisters lets the simulator serve registers over TCP and over a serial
// line, for every built-in mapping of registers at fixed places.
func TestSimulateRegisters(t *testing.T) {
	for _, name := range library.Names() {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		if c.Bus.Registers == nil || c.Bus.Registers.ModelsAt >= 0 {
			continue
		}
		t.Run(name+" by TCP", func(t *testing.T) {
			address := freePort(t)
			simulating(t, "--mapping", name, "--to", "modbus-tcp:"+address, "--speed", "10")
			plausible(t, hearUntil(t, transport.Endpoint{Scheme: "modbus-tcp", Address: address}, c, []uint32{1, 2}, 2))
		})
		t.Run(name+" by a line", func(t *testing.T) {
			ours, theirs := serialCable(t)
			simulating(t, "--mapping", name, "--to", "modbus-rtu:"+ours)
			plausible(t, hearUntil(t, transport.Endpoint{Scheme: "serial", Address: theirs}, c, []uint32{1, 2}, 2))
		})
	}
}

// TestDocumentedEncryption runs the commands of docs/simulate.md at a free port, with the
// certificates that OpenSSL makes by the page, and wants both packs to come through.
func TestDocumentedEncryption(t *testing.T) {
	needPeer(t, "openssl")
	page := readText(t, "../../docs/simulate.md")
	found := regexp.MustCompile(`(?m)^\$ packlink (simulate .*--to "modbus-tls:(\S+?)\?.*)\n\$ packlink (bridge (\S+))$`).FindStringSubmatch(page)
	making := regexp.MustCompile("(?s)```sh\n(.*?openssl req.*?)```").FindStringSubmatch(page)
	if found == nil || making == nil {
		t.Fatal("the page has no such commands")
	}
	config := readText(t, "testdata/"+found[4])
	t.Chdir(t.TempDir())
	if text, err := exec.Command("sh", "-e", "-c", making[1]).CombinedOutput(); err != nil {
		t.Fatalf("the certificates cannot be made: %v\n%s", err, text)
	}
	address := freePort(t)
	if err := os.WriteFile(found[4], []byte(strings.ReplaceAll(config, found[2], address)), 0o600); err != nil {
		t.Fatal(err)
	}
	simulating(t, arguments(strings.ReplaceAll(found[1], found[2], address))[1:]...)
	ctx, cancel := context.WithCancel(t.Context())
	out, log, done := &logged{}, &logged{}, make(chan int, 1)
	go func() { done <- run(ctx, arguments(found[3]), &streams{out, log}) }()
	shown := regexp.MustCompile(`"packs_fresh":2.*"voltage_v":5[1-6]`)
	for begun := time.Now(); !shown.MatchString(out.String()); time.Sleep(20 * time.Millisecond) {
		if time.Since(begun) > 20*time.Second {
			t.Errorf("the packs do not come through: %s%s", out, log)
			break
		}
	}
	cancel()
	if code := <-done; code != exitDone {
		t.Errorf("exit code %d: %s", code, log)
	}
}

// freePort is a port of this machine that was free a moment ago.
func freePort(t *testing.T) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	return listener.Addr().String()
}
