package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// startBridge runs a configuration until the test ends, beside the demonstration's
// recording, and waits until its log says something.
func startBridge(t *testing.T, folder, config, says string) *logged {
	t.Helper()
	log, _ := startStoppable(t, folder, config, says)
	return log
}

// startStoppable is startBridge, and stop ends the bridge before the test does.
func startStoppable(t *testing.T, folder, config, says string) (log *logged, stop func()) {
	t.Helper()
	recording, err := filepath.Abs("demo/boathouse.pcapng")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(folder, "bridge-"+strconv.Itoa(len(config))+".yaml")
	if err := os.WriteFile(path, []byte(strings.ReplaceAll(config, "RECORDING", recording)), 0o644); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	log = &logged{}
	done := make(chan int, 1)
	go func() { done <- run(ctx, []string{"bridge", path}, &streams{io.Discard, log}) }()
	stop = sync.OnceFunc(func() {
		cancel()
		if code := <-done; code != exitDone {
			t.Errorf("the bridge ended with exit code %d: %s", code, log)
		}
	})
	t.Cleanup(stop)
	awaitLog(t, log, says)
	return log, stop
}

// awaitLog waits until a log says something.
func awaitLog(t *testing.T, log *logged, says string) {
	t.Helper()
	for range 1000 {
		if strings.Contains(log.String(), says) {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("the log does not say %q: %s", says, log)
}

const boat = `sources: [{name: boat, from: "capture:RECORDING?loop=true&speed=20", mapping: homebrew-can}]
bank: {name: boathouse}
`
