package serialbus

import (
	"context"
	"errors"
	"os"
	"slices"
	"sync"
	"testing"
	"time"

	"packlink/transport"
)

// fakeLink is a line in memory, for tests in virtual time.
type fakeLink struct {
	in      chan []byte
	rest    []byte
	closed  chan struct{}
	once    sync.Once
	asked   func(frame []byte) // what the other side does with a request
	failing error              // what a write ends in
}

func newFakeLink(asked func([]byte)) *fakeLink {
	return &fakeLink{in: make(chan []byte, 10000), closed: make(chan struct{}), asked: asked}
}

var errFakeGone = errors.New("pulled out")

func (l *fakeLink) read(buffer []byte, until time.Time) (int, error) {
	if len(l.rest) == 0 {
		var timeout <-chan time.Time
		if !until.IsZero() {
			timer := time.NewTimer(max(time.Until(until), 0))
			defer timer.Stop()
			timeout = timer.C
		}
		select {
		case l.rest = <-l.in:
		default:
			select {
			case l.rest = <-l.in:
			case <-l.closed:
				return 0, os.ErrClosed
			case <-timeout:
				return 0, nil
			}
		}
		if l.rest == nil {
			return 0, errFakeGone
		}
	}
	n := copy(buffer, l.rest)
	l.rest = l.rest[n:]
	return n, nil
}

func (l *fakeLink) write(data []byte, limit time.Duration) error {
	if l.failing != nil {
		return l.failing
	}
	l.asked(slices.Clone(data))
	return nil
}

func (l *fakeLink) close() error {
	l.once.Do(func() { close(l.closed) })
	return nil
}

// put makes bytes arrive after a time; nil is the end of the line.
func (l *fakeLink) put(after time.Duration, data []byte) {
	time.AfterFunc(after, func() { l.in <- data })
}

// asking is one request that a fake bus saw.
type asking struct {
	at    time.Duration // since the beginning
	frame []byte
}

func (a asking) unit() byte { return a.frame[0] }
func (a asking) from() int  { return int(a.frame[2])<<8 | int(a.frame[3]) }
func (a asking) count() int { return int(a.frame[4])<<8 | int(a.frame[5]) }

// fakeBus polls in memory and writes down what is asked.
type fakeBus struct {
	*follower
	poller *Poller
	link   *fakeLink
	begun  time.Time
	mu     sync.Mutex
	log    []asking
}

// reply is what the other side does with the n-th request, from 0.
type reply func(bus *fakeBus, n int, frame []byte)

// startBus begins to poll over a fake line; it must be called in a bubble.
func startBus(t *testing.T, at string, plan Plan, does reply) *fakeBus {
	t.Helper()
	place, err := readPlace(endpoint(t, at), true)
	if err != nil {
		t.Fatal(err)
	}
	how, err := readPolicy(place, &plan)
	if err != nil {
		t.Fatal(err)
	}
	bus := &fakeBus{follower: newFollower(), begun: time.Now()}
	asked := func(frame []byte) {
		bus.mu.Lock()
		n := len(bus.log)
		bus.log = append(bus.log, asking{time.Since(bus.begun), frame})
		bus.mu.Unlock()
		does(bus, n, frame)
	}
	bus.poller = newPoller(place, how, plan)
	dial := func(context.Context) (link, error) {
		bus.link = newFakeLink(asked)
		return bus.link, nil
	}
	if err := bus.poller.open(context.Background(), dial, bus.report); err != nil {
		t.Fatal(err)
	}
	bus.follow(t, bus.poller)
	return bus
}

// requests is what was asked of a unit so far; 0 is all.
func (b *fakeBus) requests(unit byte) (all []asking) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, a := range b.log {
		if unit == 0 || a.unit() == unit {
			all = append(all, a)
		}
	}
	return all
}

// received is all frames handed over so far.
func (b *fakeBus) received() (all []heardFrame) {
	for {
		select {
		case f := <-b.frames:
			all = append(all, f)
		default:
			return all
		}
	}
}

// accepted keeps the frames that a decoder would take for answers.
func accepted(all []heardFrame) (answers [][]byte) {
	for _, f := range all {
		if f.Direction == transport.Received && f.Flags&transport.Damaged == 0 {
			answers = append(answers, f.data)
		}
	}
	return answers
}

// refusedBytes keeps the bytes that were heard and are no answer.
func refusedBytes(all []heardFrame) (data []byte) {
	for _, f := range all {
		if f.Direction == transport.Received && f.Flags&transport.Damaged != 0 {
			data = append(data, f.data...)
		}
	}
	return data
}

// soundReply answers each request after a time.
func soundReply(after time.Duration) reply {
	return func(b *fakeBus, _ int, frame []byte) { b.link.put(after, answerTo(frame)) }
}

func (b *fakeBus) outcome(unit byte, o Outcome) int64 {
	for _, u := range b.poller.Counts().Units {
		if u.Unit == unit {
			return u.Outcomes[o]
		}
	}
	return -1
}
