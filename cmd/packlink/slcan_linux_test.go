package main

import (
	"bufio"
	"io"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// told is what a serial-line CAN adapter was told, line by line.
type told struct {
	mu    sync.Mutex
	lines []string
}

// adapter plays an adapter that carries out everything, and gives its port.
func adapter(t *testing.T) (port string, heard *told) {
	t.Helper()
	far, port := serialEnd(t)
	heard = new(told)
	var running sync.WaitGroup
	running.Go(func() {
		for lines := bufio.NewReader(far); ; {
			line, err := lines.ReadString('\r')
			if err != nil {
				return
			}
			heard.add(strings.TrimSuffix(line, "\r"))
			answer := map[byte]string{'t': "z\r", 'T': "Z\r"}[line[0]]
			far.WriteString(answer + strings.Repeat("\r", 1-min(len(answer), 1)))
		}
	})
	t.Cleanup(func() { far.Close(); running.Wait() })
	return port, heard
}

func (h *told) add(line string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if line != "" { // an empty one ends what an adapter was told before
		h.lines = append(h.lines, line)
	}
}

// await waits until the lines were told, each as often as it stands there, and gives all.
func (h *told) await(t *testing.T, lines ...string) (all []string) {
	t.Helper()
	for begun := time.Now(); time.Since(begun) < 20*time.Second; time.Sleep(10 * time.Millisecond) {
		h.mu.Lock()
		all = slices.Clone(h.lines)
		h.mu.Unlock()
		missing := slices.Clone(lines)
		for _, line := range all {
			if i := slices.Index(missing, line); i >= 0 {
				missing = slices.Delete(missing, i, i+1)
			}
		}
		if len(missing) == 0 {
			return all
		}
	}
	t.Fatalf("the adapter was told %q, want %q", all, lines)
	return nil
}

// frameLine is a data frame to an adapter (the comments of Linux,
// drivers/net/can/slcan/slcan-core.c): t and three digits of an 11-bit id, or T and eight of
// a 29-bit id, the number of bytes, and two digits for each.
var frameLine = regexp.MustCompile(`^(?:t[0-7][0-9A-F]{2}|T[01][0-9A-F]{7})([0-8])((?:[0-9A-F]{2})*)$`)

// TestSlcanOutput lets a bridge put what it hears on another bus behind a serial-line CAN
// adapter: the adapter is set up for its mapping's bus, told whole frames and nothing else,
// and its channel closed at the end. What goes in comes out, as both buses have one mapping;
// the state of charge has its finer form too, 0x251C hundredths.
func TestSlcanOutput(t *testing.T) {
	for name, c := range map[string]struct {
		log, shows string
		setUp      []string // C closes, S5 and S6 are 250 and 500 kbit/s, O opens
		frames     []string
	}{
		"storage-can-35x": {shortLog, "left", []string{"C", "S6", "O"}, []string{"t351834029001D007C001", "t35565F0063001C25", "t35669A1499FDE900"}},
		"homebrew-can":    {"(1780000000.100000) can0 18FF4001#94147CFF6E03E303\n", "{0x2A: left/1}", []string{"C", "S5", "O"}, []string{"T18FF402A894147CFF6E03E303"}},
	} {
		t.Run(name, func(t *testing.T) {
			port, heard := adapter(t)
			folder := writeFiles(t, map[string]string{"left.log": c.log})
			t.Run("running", func(t *testing.T) { // the bridge ends with it
				startBridge(t, folder, `sources: [{name: left, from: "capture:left.log?loop=true", mapping: `+name+`}]
outputs: [{to: "slcan:`+port+`", mapping: `+name+`, transmit: true, shows: `+c.shows+`}]
`, "TRANSMITS")
				for _, want := range c.frames {
					heard.await(t, want)
				}
			})
			lines := heard.await(t, "C", "C")
			if !slices.Equal(lines[:3], c.setUp) || lines[len(lines)-1] != "C" {
				t.Fatalf("the adapter was told %q, want %q at the beginning and C at the end", lines, c.setUp)
			}
			for _, line := range lines[3 : len(lines)-1] {
				if parts := frameLine.FindStringSubmatch(line); parts == nil || len(parts[2]) != 2*int(parts[1][0]-'0') {
					t.Errorf("the adapter is told %q, which is no data frame", line)
				}
			}
		})
	}
}

// TestSlcanOutputWithoutAdapter ends at once, before anything is announced, where there is no
// port and where nothing behind it answers.
func TestSlcanOutputWithoutAdapter(t *testing.T) {
	far, silent := serialEnd(t)
	defer far.Close()
	for port, says := range map[string]string{
		filepath.Join(t.TempDir(), "missing"): "the port cannot be opened: no such file or directory",
		silent:                                "nothing answers there as a serial-line CAN adapter does",
	} {
		log := &logged{}
		code := run(t.Context(), []string{"simulate", "--mapping", "homebrew-can", "--to", "slcan:" + port}, &streams{io.Discard, log})
		if code != exitFailed || !strings.Contains(log.String(), says) || strings.Contains(log.String(), "TRANSMITS") {
			t.Errorf("slcan:%s: exit code %d, want %q in %s", port, code, says, log)
		}
	}
}
