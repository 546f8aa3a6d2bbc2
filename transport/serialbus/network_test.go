package serialbus

import (
	"bytes"
	"context"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	"packlink/transport"
)

// deviceServer is a listener that hands over its connections one after another.
func deviceServer(t *testing.T) (address string, conns <-chan net.Conn, stop func()) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	accepted := make(chan net.Conn, 100)
	var running sync.WaitGroup
	running.Go(func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			accepted <- conn
		}
	})
	stop = func() { listener.Close(); running.Wait() }
	t.Cleanup(func() {
		stop()
		for len(accepted) > 0 {
			(<-accepted).Close()
		}
	})
	return listener.Addr().String(), accepted, stop
}

func TestListenToDeviceServer(t *testing.T) {
	address, conns, _ := deviceServer(t)
	f := listenNetwork(t, "tcp:"+address)
	for round := range 3 {
		conn := <-conns
		want := bytes.Repeat([]byte{0xA5, 0, byte(round)}, 2000)
		conn.Write(want)
		first := f.next(t)
		if lost := first.Flags == transport.Lost; lost != (round > 0) {
			t.Errorf("round %d: the first frame has flags %v", round, first.Flags)
		}
		got := append(first.data, f.bytes(t, len(want)-len(first.data), anything)...)
		if !bytes.Equal(got, want) {
			t.Error("the bytes came out changed")
		}
		conn.SetReadDeadline(time.Now().Add(50 * time.Millisecond))
		if n, err := conn.Read(make([]byte, 1)); n != 0 || err == io.EOF {
			t.Errorf("a listener sent %d bytes, %v", n, err)
		}
		conn.Close()
		eventually(t, "the loss is reported", func() bool { return f.saw(EventGone) == round+1 })
		eventually(t, "the return is reported", func() bool { return f.saw(EventBack) == round+1 })
	}
}

func listenNetwork(t *testing.T, at string) *follower {
	t.Helper()
	f := newFollower()
	l, err := Listen(background(t), endpoint(t, at), f.report)
	if err != nil {
		t.Fatal(err)
	}
	f.follow(t, l)
	return f
}

func TestContextEndsReceive(t *testing.T) {
	address, _, _ := deviceServer(t)
	ctx, cancel := context.WithCancel(context.Background())
	l, err := Listen(ctx, endpoint(t, "tcp:"+address), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	time.AfterFunc(50*time.Millisecond, cancel)
	var f transport.Frame
	if err := l.Receive(&f); err != io.EOF {
		t.Errorf("got %v, want io.EOF", err)
	}
}

// TestCloseWhileLost ends the wait for a line that is away.
func TestCloseWhileLost(t *testing.T) {
	address, conns, stop := deviceServer(t)
	f := listenNetwork(t, "tcp:"+address)
	stop()
	(<-conns).Close()
	eventually(t, "the loss is reported", func() bool { return f.saw(EventGone) == 1 })
	time.Sleep(400 * time.Millisecond)
	if f.saw(EventGone) != 1 || f.saw(EventBack) != 0 {
		t.Errorf("events: %v", f.events)
	}
}

func TestSendToDeviceServer(t *testing.T) {
	address, conns, _ := deviceServer(t)
	s, err := OpenForSending(background(t), endpoint(t, "tcp:"+address))
	if err != nil {
		t.Fatal(err)
	}
	conn := <-conns
	defer conn.Close()
	talked := make(chan struct{})
	go func() { // which nobody wants to hear
		defer close(talked)
		for {
			if _, err := conn.Write(make([]byte, 1000)); err != nil {
				return
			}
		}
	}()
	want := bytes.Repeat([]byte{1, 2, 3}, 50)
	if err := s.Send(&transport.Frame{Medium: transport.Serial, Data: want}); err != nil {
		t.Fatal(err)
	}
	closed := make(chan struct{})
	go func() { s.Close(); close(closed) }()
	if got, err := io.ReadAll(conn); err != nil || !bytes.Equal(got, want) {
		t.Errorf("got % X, %v", got, err)
	}
	conn.Close()
	<-talked
	<-closed
	if err := s.Send(&transport.Frame{Medium: transport.Serial, Data: want}); err == nil {
		t.Error("a frame was sent on a closed connection")
	}
}

// TestReadWithoutWaiting finds what has arrived already, though its time is over.
func TestReadWithoutWaiting(t *testing.T) {
	address, conns, _ := deviceServer(t)
	s, err := dial(background(t), endpoint(t, "tcp:"+address), nil)
	if err != nil {
		t.Fatal(err)
	}
	defer s.close()
	conn := <-conns
	defer conn.Close()
	conn.Write([]byte("here"))
	time.Sleep(50 * time.Millisecond)
	buffer := make([]byte, 10)
	if n, err := s.read(buffer, time.Now().Add(-time.Second)); string(buffer[:n]) != "here" || err != nil {
		t.Errorf("got %q, %v", buffer[:n], err)
	}
	if n, err := s.read(buffer, time.Now()); n != 0 || err != nil {
		t.Errorf("got %q, %v, want nothing", buffer[:n], err)
	}
}

// TestClosedWhileOpening: a line that is closed while it is being opened again does
// not stay open.
func TestClosedWhileOpening(t *testing.T) {
	first, second := newFakeLink(nil), newFakeLink(nil)
	opening, closed := make(chan struct{}), make(chan struct{})
	links := 0
	l, err := openLine(context.Background(), "x", func(context.Context) (link, error) {
		if links++; links == 1 {
			return first, nil
		}
		close(opening)
		<-closed
		return second, nil
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	l.renew()
	go func() { <-opening; l.close(); close(closed) }()
	if _, _, err := l.link(); err != io.EOF {
		t.Errorf("got %v, want io.EOF", err)
	}
	select {
	case <-second.closed:
	default:
		t.Error("the second link is still open")
	}
}

// TestMuteConnectionIsMadeAnew has a server that takes every request and never answers.
func TestMuteConnectionIsMadeAnew(t *testing.T) {
	address, conns, _ := deviceServer(t)
	plan := onePlan()
	plan.Timeout = 20 * time.Millisecond
	f, _ := pollNetwork(t, "tcp:"+address+"?retries=5", plan)
	first, second := <-conns, <-conns
	defer first.Close()
	defer second.Close()
	if got, err := io.ReadAll(first); err != nil || len(got) != muteLimit*requestSize {
		t.Errorf("the first connection got %d bytes, %v; want %d requests", len(got), err, muteLimit)
	}
	if f.saw(EventGone) != 0 || f.saw(EventBack) != 0 {
		t.Errorf("events: %v, want nothing of the line", f.events)
	}
}

func pollNetwork(t *testing.T, at string, plan Plan) (*follower, *Poller) {
	t.Helper()
	f := newFollower()
	p, err := TransmitPolls(background(t), endpoint(t, at), plan, f.report)
	if err != nil {
		t.Fatal(err)
	}
	f.follow(t, p)
	return f, p
}
