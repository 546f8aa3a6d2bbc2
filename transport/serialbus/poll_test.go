package serialbus

import (
	"bytes"
	"testing"
	"testing/synctest"
	"time"

	"packlink/transport"
)

func onePlan() Plan {
	return Plan{Units: []byte{1}, Blocks: []Block{{Function: 3, From: 0, Count: 10, Every: time.Second}}}
}

// bubble runs a test in virtual time.
func bubble(t *testing.T, f func(t *testing.T)) { synctest.Test(t, f) }

func TestExchangeIsHandedOver(t *testing.T) {
	bubble(t, func(t *testing.T) {
		bus := startBus(t, "serial:/dev/x", onePlan(), soundReply(30*time.Millisecond))
		time.Sleep(1500 * time.Millisecond)
		synctest.Wait()
		all := bus.received()
		if len(all) != 4 {
			t.Fatalf("got %d frames, want two exchanges", len(all))
		}
		for i, f := range all {
			want := transport.Frame{Medium: transport.Serial, Direction: transport.Sent, Time: f.Time, Data: f.Data}
			data := withCRC(1, 3, 0, 0, 0, 10)
			if i%2 == 1 {
				want.Direction, data = transport.Received, answerTo(data)
			}
			if f.Flags != want.Flags || f.Direction != want.Direction || f.Medium != want.Medium || !bytes.Equal(f.data, data) {
				t.Errorf("frame %d: got %+v, want %+v with % X", i, f.Frame, want, data)
			}
		}
		if sent, came := all[0].Time, all[1].Time; came-sent != 30_000_000 {
			t.Errorf("the answer came %d ns after the request, want 30 ms", came-sent)
		}
	})
}

// TestPeriodDoesNotDrift asks for three blocks of 100 ms over an hour, the answers
// taking 20 ms: each request stands exactly on its tick.
func TestPeriodDoesNotDrift(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Blocks = []Block{{Function: 3, Count: 1, Every: 300 * time.Millisecond}, {Function: 4, Count: 1, Every: 300 * time.Millisecond}, {Function: 3, From: 5, Count: 1, Every: 300 * time.Millisecond}}
		bus := startBus(t, "serial:/dev/x", plan, soundReply(20*time.Millisecond))
		for range 60 {
			time.Sleep(time.Minute)
			synctest.Wait()
			bus.received()
		}
		asked := bus.requests(1)
		if len(asked) < 36000 {
			t.Fatalf("%d requests in an hour, want 36000", len(asked))
		}
		for i, a := range asked[3:] {
			if want := time.Duration(i+1) * 100 * time.Millisecond; a.at != want {
				t.Fatalf("request %d went at %v, want %v", i+3, a.at, want)
			}
		}
	})
}
