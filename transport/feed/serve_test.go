package feed

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"
)

// listen serves on a real port of the loopback interface. stop ends it and
// gives the error of Serve.
func listen(t *testing.T, h *HTTP) (address string, stop func() error) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- h.Serve(ctx, l) }()
	stop = func() error {
		cancel()
		select {
		case err := <-done:
			return err
		case <-time.After(5 * time.Second):
			return errors.New("Serve did not end")
		}
	}
	return l.Addr().String(), stop
}

func dial(t *testing.T, address string) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close() })
	return c
}

func TestServeEndsWithItsStreams(t *testing.T) {
	address, stop := listen(t, shown())
	c := openStream(t, dial(t, address))
	half := dial(t, address)
	if _, err := half.Write([]byte("GET /v1/ba")); err != nil {
		t.Fatal(err)
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
	<-c.ended
	if _, err := net.Dial("tcp", address); err == nil {
		t.Error("the port still takes connections")
	}
}

func TestServeReturnsTheListenersError(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	_ = l.Close()
	err = shown().Serve(t.Context(), l)
	if !errors.Is(err, net.ErrClosed) || !strings.Contains(err.Error(), l.Addr().String()) {
		t.Errorf("got %v, want one that names %v", err, l.Addr())
	}
}

func TestServeOnARealPort(t *testing.T) {
	address, stop := listen(t, shown())
	defer stop()
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	for path := range routes {
		for _, method := range []string{"HEAD", "GET"} {
			if path == "/v1/stream" && method == "GET" {
				continue
			}
			request, _ := http.NewRequestWithContext(t.Context(), method, "http://"+address+path, nil)
			response, err := client.Do(request)
			if err != nil {
				t.Fatal(err)
			}
			body, err := io.ReadAll(response.Body)
			_ = response.Body.Close()
			if err != nil || response.StatusCode != http.StatusOK || (len(body) == 0) != (method == "HEAD") {
				t.Errorf("%s %s: got %d and %d bytes, %v", method, path, response.StatusCode, len(body), err)
			}
		}
	}
}

// Readers of every kind and a writer at once; the race detector looks on.
func TestPublishWhileOthersRead(t *testing.T) {
	h := shown()
	address, stop := listen(t, h)
	stalled := dial(t, address)
	if _, err := stalled.Write([]byte("GET /v1/stream HTTP/1.1\r\nHost: test\r\n\r\n")); err != nil {
		t.Fatal(err)
	}
	c := openStream(t, dial(t, address))
	var all sync.WaitGroup
	for _, path := range []string{"/v1/bank", "/v1/packs", "/metrics", "/healthz"} {
		all.Go(func() {
			for range 100 {
				if w := ask(h, "GET", path); w.Code != http.StatusOK {
					t.Errorf("%s: got %d", path, w.Code)
				}
			}
		})
	}
	for i := range 300 {
		publish(h, fmt.Sprint("state ", i))
	}
	all.Wait()
	for deadline := time.Now().Add(10 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		if states := c.lines("data: {"); len(states) > 0 && strings.Contains(states[len(states)-1].line, `"bank":"state 299"`) {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("the newest state did not come")
		}
	}
	if err := stop(); err != nil {
		t.Error(err)
	}
	<-c.ended
}
