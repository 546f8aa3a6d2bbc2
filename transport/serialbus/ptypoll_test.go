//go:build linux

package serialbus

import (
	"bytes"
	"path/filepath"
	"testing"
	"time"

	"packlink/transport"
)

// scripted answers the requests that come out of a port: the n-th one by what does
// makes of it. It ends when the far end is closed.
func scripted(t testing.TB, far *farEnd, does func(n int, frame []byte)) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		var frame []byte
		buffer := make([]byte, 256)
		for n := 0; ; {
			got, err := far.Read(buffer)
			if err != nil {
				return
			}
			frame = append(frame, buffer[:got]...)
			for ; len(frame) >= requestSize; n++ {
				does(n, frame[:requestSize])
				frame = frame[requestSize:]
			}
		}
	}()
	t.Cleanup(func() { far.Close(); <-done })
}

// TestPollOnPort has each misfortune on a real port, one after another, and every
// exchange between them sound.
func TestPollOnPort(t *testing.T) {
	far := plug(t, "")
	sound := func(frame []byte) { far.Write(answerTo(frame)) }
	script := []struct {
		outcome Outcome
		does    func(frame []byte)
	}{
		{Answered, sound},
		{BadChecksum, func(f []byte) { far.Write(flip(answerTo(f), 5)) }},
		{Half, func(f []byte) { far.Write(answerTo(f)[:9]) }},
		{WrongUnit, func(f []byte) { far.Write(append([]byte(nil), answerTo(withCRC(9, 3, 0, 0, 0, 10))...)) }},
		{WrongAnswer, func([]byte) { far.Write(answerTo(withCRC(1, 3, 0, 0, 0, 2))) }},
		{Unclear, func([]byte) { far.Write([]byte{1, 2, 3, 4}) }},
		{NoAnswer, func([]byte) {}},
		{Refused, func(f []byte) { far.Write(refusal(f, 6)) }},
		{Answered, func(f []byte) { far.Write(answerTo(f)); far.Write(answerTo(f)) }},
		{Answered, func(f []byte) {
			for _, c := range answerTo(f) {
				far.Write([]byte{c})
				time.Sleep(time.Millisecond)
			}
		}},
		{NoAnswer, func(f []byte) { // late
			answer := answerTo(f)
			time.AfterFunc(170*time.Millisecond, func() { far.Write(answer) })
		}},
	}
	scripted(t, far, func(n int, frame []byte) {
		if n%2 == 0 && n/2 < len(script) {
			script[n/2].does(frame)
			return
		}
		sound(frame)
	})
	plan := onePlan()
	plan.Timeout, plan.Blocks[0].Every = 100*time.Millisecond, 150*time.Millisecond
	f, p := poll(t, "serial:"+far.port+"?baud=115200", plan)
	eventually(t, "the script is played", func() bool { return p.Counts().Units[0].Asked > int64(2*len(script)) })
	p.Close()
	var want [outcomes]int64
	for _, s := range script {
		want[s.outcome]++
	}
	got := p.Counts().Units[0].Outcomes
	for o := Refused; o < Interrupted; o++ {
		if got[o] != want[o] {
			t.Errorf("%s: %d times, want %d", o, got[o], want[o])
		}
	}
	if got[Double] != 1 || got[Late] != 1 {
		t.Errorf("%d double and %d late answers, want one each", got[Double], got[Late])
	}
	checkPairs(t, f, want[Answered]+want[Refused]+int64(len(script)))
}

// checkPairs holds each accepted answer to the request before it.
func checkPairs(t *testing.T, f *follower, least int64) {
	t.Helper()
	var request []byte
	answers := int64(0)
	for len(f.frames) > 0 {
		h := <-f.frames
		switch {
		case h.Direction == transport.Sent:
			request = h.data
		case h.Flags&transport.Damaged == 0:
			answers++
			if !bytes.Equal(h.data, answerTo(request)) && !bytes.Equal(h.data, refusal(request, 6)) {
				t.Errorf("% X was taken for the answer to % X", h.data, request)
			}
		}
	}
	if answers < least {
		t.Errorf("%d answers, want at least %d", answers, least)
	}
}

// TestPollUnpluggedAndReplugged goes on with the next adapter behind the same path.
func TestPollUnpluggedAndReplugged(t *testing.T) {
	path := filepath.Join(t.TempDir(), "usb-adapter-if00-port0")
	plan := onePlan()
	plan.Timeout, plan.Blocks[0].Every = 100*time.Millisecond, 20*time.Millisecond
	far := plug(t, path)
	scripted(t, far, func(_ int, frame []byte) { far.Write(answerTo(frame)) })
	f, p := poll(t, "serial:"+path, plan)
	answered := func() int64 { return p.Counts().Units[0].Outcomes[Answered] }
	for round := 1; round <= 2; round++ {
		before := answered()
		eventually(t, "it is polled", func() bool { return answered() > before+5 })
		far.unplug(path)
		eventually(t, "the loss is reported", func() bool { return f.saw(EventGone) == round })
		next := plug(t, path)
		scripted(t, next, func(_ int, frame []byte) { next.Write(answerTo(frame)) })
		far = next
		eventually(t, "the return is reported", func() bool { return f.saw(EventBack) == round })
	}
	before := answered()
	eventually(t, "it is polled again", func() bool { return answered() > before+5 })
	if n := p.Counts().Losses; n != 2 {
		t.Errorf("%d losses counted, want 2", n)
	}
}

// TestPollerClosesAtOnce, while it waits for an answer, for its tick, or for the line.
func TestPollerClosesAtOnce(t *testing.T) {
	plan := onePlan()
	plan.Timeout, plan.Blocks[0].Every = time.Minute, time.Hour
	for name, answers := range map[string]bool{"waiting for an answer": false, "waiting for its turn": true} {
		far := plug(t, "")
		asked := make(chan struct{}, 100)
		scripted(t, far, func(_ int, frame []byte) {
			if answers {
				far.Write(answerTo(frame))
			}
			asked <- struct{}{}
		})
		p, err := TransmitPolls(background(t), endpoint(t, "serial:"+far.port), plan, nil)
		if err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() {
			var f transport.Frame
			for {
				if err := p.Receive(&f); err != nil {
					ended <- err
					return
				}
			}
		}()
		<-asked
		time.Sleep(20 * time.Millisecond)
		p.Close()
		select {
		case <-ended:
		case <-time.After(patience):
			t.Errorf("%s: Close did not end Receive", name)
		}
	}
}
