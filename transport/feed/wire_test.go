package feed

import (
	"bufio"
	"context"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"
)

// wire is a listener whose connections are pipes in memory, so that a test can
// run it on the clock of testing/synctest.
type wire struct {
	dialled chan net.Conn
	closed  chan struct{}
	once    sync.Once
}

func newWire() *wire { return &wire{dialled: make(chan net.Conn), closed: make(chan struct{})} }

func (w *wire) Accept() (net.Conn, error) {
	select {
	case c := <-w.dialled:
		return c, nil
	case <-w.closed:
		return nil, net.ErrClosed
	}
}

func (w *wire) Close() error {
	w.once.Do(func() { close(w.closed) })
	return nil
}

func (w *wire) Addr() net.Addr { return &net.TCPAddr{} }

// serve runs the handler on a wire until the test ends.
func serve(t *testing.T, h *HTTP) *wire {
	w := newWire()
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- h.Serve(ctx, w) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Errorf("Serve: %v", err)
		}
	})
	return w
}

// client is one open stream and what came over it.
type client struct {
	net.Conn
	status http.Response
	start  time.Time
	mu     sync.Mutex
	got    []arrival
	ended  chan struct{} // closed when the stream has ended
}

// arrival is one line that is not empty, and when it came.
type arrival struct {
	after time.Duration
	line  string
}

// openStream asks for the stream and collects its lines.
func openStream(t *testing.T, conn net.Conn) *client {
	t.Helper()
	c := &client{Conn: conn, start: time.Now(), ended: make(chan struct{})}
	t.Cleanup(func() { _ = conn.Close() })
	if _, err := conn.Write([]byte("GET /v1/stream HTTP/1.1\r\nHost: test\r\n\r\n")); err != nil {
		t.Fatal(err)
	}
	response, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		t.Fatal(err)
	}
	c.status = *response
	go func() {
		defer close(c.ended)
		lines := bufio.NewScanner(response.Body)
		lines.Buffer(nil, 1<<20)
		for lines.Scan() {
			c.add(lines.Text())
		}
	}()
	return c
}

func (c *client) add(line string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if line != "" {
		c.got = append(c.got, arrival{time.Since(c.start), line})
	}
}

// lines are those that came so far and begin with the words.
func (c *client) lines(prefix string) []arrival {
	c.mu.Lock()
	defer c.mu.Unlock()
	var found []arrival
	for _, a := range c.got {
		if strings.HasPrefix(a.line, prefix) {
			found = append(found, a)
		}
	}
	return found
}

func (w *wire) dial() net.Conn {
	near, far := net.Pipe()
	w.dialled <- far
	return near
}
