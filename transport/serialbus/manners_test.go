package serialbus

import (
	"bytes"
	"errors"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"packlink/transport"
)

// TestQuietBeforeRequest: no request follows the last byte heard by less than the
// quiet time, whoever sent the byte.
func TestQuietBeforeRequest(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Units = []byte{1, 2}
		begun := time.Now()
		var last atomic.Int64 // when the last byte came, in ns since the beginning
		bus := startBus(t, "serial:/dev/x?quiet=30ms", plan, func(b *fakeBus, _ int, frame []byte) {
			if quiet := time.Since(begun) - time.Duration(last.Load()); last.Load() > 0 && quiet < 30*time.Millisecond {
				t.Errorf("a request %v after the last byte", quiet)
			}
			time.AfterFunc(soon, func() { last.Store(int64(time.Since(begun))); b.link.in <- answerTo(frame) })
		})
		for i := range 20 { // others talk just before the tick
			at := time.Duration(i+1)*time.Second - time.Duration(3*i+1)*time.Millisecond // never at a tick itself
			time.AfterFunc(at, func() { last.Store(int64(time.Since(begun))); bus.link.in <- withCRC(9, 3, 0, 0, 0, 1) })
		}
		time.Sleep(25 * time.Second)
		synctest.Wait()
		if n := len(bus.requests(0)); n < 49 {
			t.Errorf("only %d requests", n)
		}
	})
}

// TestBabbleDoesNotStopPolling: on a line that is never quiet a request goes after
// one time-out all the same.
func TestBabbleDoesNotStopPolling(t *testing.T) {
	bubble(t, func(t *testing.T) {
		bus := startBus(t, "serial:/dev/x", onePlan(), func(b *fakeBus, _ int, frame []byte) { b.link.in <- answerTo(frame) })
		stop := time.Now().Add(30 * time.Second)
		for at := time.Now(); at.Before(stop); at = at.Add(time.Millisecond) {
			bus.link.put(time.Until(at), []byte{0xA5})
		}
		for range 30 {
			time.Sleep(time.Second)
			synctest.Wait()
			bus.received()
		}
		if n := bus.outcome(1, Answered); n < 10 {
			t.Errorf("%d exchanges on a babbling line in 30 s", n)
		}
		if bus.saw(EventNoise) != 1 {
			t.Errorf("the noise was reported %d times, want once", bus.saw(EventNoise))
		}
	})
}

// TestStrangerIsReported: another asker's traffic is handed over, marked, counted and
// reported once; none of it is taken for an answer.
func TestStrangerIsReported(t *testing.T) {
	bubble(t, func(t *testing.T) {
		bus := startBus(t, "serial:/dev/x", onePlan(), soundReply(soon))
		theirs := withCRC(1, 3, 0, 0, 0, 10)
		for i := range 5 {
			bus.link.put(time.Duration(i)*time.Second+400*time.Millisecond, withCRC(5, 4, 0, 0, 0, 2))
			bus.link.put(time.Duration(i)*time.Second+450*time.Millisecond, answerTo(withCRC(5, 4, 0, 0, 0, 2)))
			bus.link.put(time.Duration(i)*time.Second+600*time.Millisecond, withCRC(1, 3, 0, 9, 0, 10))
			bus.link.put(time.Duration(i)*time.Second+650*time.Millisecond, answerTo(withCRC(1, 3, 0, 9, 0, 10)))
		}
		time.Sleep(4900 * time.Millisecond)
		synctest.Wait()
		if got := bus.poller.Counts(); got.Strangers != 20 || got.Noise != 0 || got.Units[0].Outcomes[Double] != 0 {
			t.Errorf("got %+v, want 20 messages of strangers", got)
		}
		if bus.saw(EventStranger) != 1 {
			t.Errorf("reported %d times, want once", bus.saw(EventStranger))
		}
		for _, data := range accepted(bus.received()) {
			if !bytes.Equal(data, answerTo(theirs)) {
				t.Errorf("% X was taken for an answer", data)
			}
		}
	})
}

// TestLateAnswerOfAnotherUnit comes while the next unit is asked.
func TestLateAnswerOfAnotherUnit(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Units, plan.Timeout = []byte{1, 2}, 200*time.Millisecond
		bus := startBus(t, "serial:/dev/x?retries=0", plan, func(b *fakeBus, n int, frame []byte) {
			delay := soon
			if frame[0] == 1 {
				delay = 250 * time.Millisecond
			} else {
				delay = 60 * time.Millisecond
			}
			b.link.put(delay, answerTo(frame))
		})
		time.Sleep(950 * time.Millisecond)
		synctest.Wait()
		if n := bus.outcome(1, Late); n != 1 {
			t.Errorf("%d late answers of unit 1, want 1", n)
		}
		if bus.outcome(2, Answered) < 1 || bus.outcome(2, WrongUnit) != 0 {
			t.Errorf("unit 2: %+v", bus.poller.Counts().Units[1])
		}
		if bus.saw(EventSlow) != 1 || bus.saw(EventStranger) != 0 {
			t.Errorf("events: %v", bus.events)
		}
		for _, data := range accepted(bus.received()) {
			if data[0] != 2 {
				t.Errorf("the late answer % X was taken", data)
			}
		}
	})
}

// TestEveryByteIsHandedOver: the frames, put together, are what was on the line.
func TestEveryByteIsHandedOver(t *testing.T) {
	bubble(t, func(t *testing.T) {
		var line []byte
		bus := startBus(t, "serial:/dev/x", onePlan(), func(b *fakeBus, n int, frame []byte) {
			answer := append(make([]byte, n%7), answerTo(frame)...)
			answer = append(answer, make([]byte, n%3)...)
			line = append(append(line, frame...), answer...)
			for i, c := range answer {
				b.link.put(soon+time.Duration(i)*time.Millisecond, []byte{c})
			}
		})
		time.Sleep(20*time.Second + 900*time.Millisecond)
		synctest.Wait()
		var got []byte
		for _, f := range bus.received() {
			got = append(got, f.data...)
		}
		if !bytes.Equal(got, line) || len(line) < 600 {
			t.Errorf("%d bytes were on the line and %d came out, or others", len(line), len(got))
		}
	})
}

// TestRuinedAnswerEndsTheWait: after a whole answer with a wrong CRC nothing else is
// to be expected, so the repetition does not wait for the time-out of a second.
func TestRuinedAnswerEndsTheWait(t *testing.T) {
	bubble(t, func(t *testing.T) {
		bus := startBus(t, "serial:/dev/x", onePlan(), func(b *fakeBus, n int, frame []byte) { b.link.put(soon, flip(answerTo(frame), 5)) })
		time.Sleep(900 * time.Millisecond)
		synctest.Wait()
		asked := bus.requests(1)
		if len(asked) != 3 || asked[1].at != soon+holdBack+firstRetry || asked[2].at-asked[1].at != soon+holdBack+2*firstRetry {
			t.Errorf("got %v", asked)
		}
	})
}

// TestAnswerMayEndAfterTheTimeout: the time-out is for its beginning.
func TestAnswerMayEndAfterTheTimeout(t *testing.T) {
	bubble(t, func(t *testing.T) {
		bus := startBus(t, "serial:/dev/x?baud=1200", onePlan(), func(b *fakeBus, n int, frame []byte) {
			b.link.put(900*time.Millisecond, answerTo(frame)[:10])
			b.link.put(1200*time.Millisecond, answerTo(frame)[10:])
		})
		time.Sleep(1300 * time.Millisecond)
		synctest.Wait()
		if bus.outcome(1, Answered) != 1 {
			t.Errorf("got %+v", bus.poller.Counts())
		}
	})
}

// TestLineLostInExchange: the request counts as interrupted, the first frame after
// it says that something is missing.
func TestLineLostInExchange(t *testing.T) {
	bubble(t, func(t *testing.T) {
		bus := startBus(t, "serial:/dev/x", onePlan(), func(b *fakeBus, n int, frame []byte) {
			if n == 0 {
				b.link.put(soon, answerTo(frame)[:4])
				b.link.put(2*soon, nil)
				return
			}
			b.link.put(soon, answerTo(frame))
		})
		time.Sleep(2 * time.Second)
		synctest.Wait()
		all := bus.received()
		if bus.outcome(1, Interrupted) != 1 || bus.poller.Counts().Losses != 1 {
			t.Errorf("got %+v", bus.poller.Counts())
		}
		if got := refusedBytes(all); len(got) != 4 {
			t.Errorf("what was heard before the loss: % X", got)
		}
		if len(all) < 4 || all[2].Flags != transport.Lost || all[2].Direction != transport.Sent || all[3].Flags != 0 {
			t.Errorf("got %+v", all)
		}
	})
}

// TestWriteFails: a line that takes no bytes is given up and opened again.
func TestWriteFails(t *testing.T) {
	bubble(t, func(t *testing.T) {
		bus := startBus(t, "serial:/dev/x", onePlan(), func(b *fakeBus, n int, frame []byte) {
			if n == 0 {
				b.link.failing = errors.New("jammed")
			}
			b.link.put(soon, answerTo(frame))
		})
		time.Sleep(5 * time.Second)
		synctest.Wait()
		if bus.saw(EventGone) != 1 || bus.saw(EventBack) != 1 || bus.outcome(1, Answered) < 4 {
			t.Errorf("events %v, counts %+v", bus.events, bus.poller.Counts())
		}
	})
}

// TestRequestsAddUp: whatever the line does, each request has one outcome.
func TestRequestsAddUp(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Units, plan.Timeout = []byte{1, 2}, 100*time.Millisecond
		bus := startBus(t, "serial:/dev/x", plan, func(b *fakeBus, n int, frame []byte) {
			m := misfortunes[n%len(misfortunes)]
			m.does(b, n, frame)
		})
		time.Sleep(5 * time.Minute)
		synctest.Wait()
		for _, u := range bus.poller.Counts().Units {
			sum := int64(0)
			for _, n := range u.Outcomes[:Late] {
				sum += n
			}
			if sum != u.Asked && sum != u.Asked-1 || u.Asked < 200 {
				t.Errorf("unit %d: %d requests, %d outcomes: %v", u.Unit, u.Asked, sum, u.Outcomes)
			}
		}
	})
}
