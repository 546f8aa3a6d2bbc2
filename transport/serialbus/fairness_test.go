package serialbus

import (
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"
)

// deadReply never answers for some units, and answers soundly for the others.
func deadReply(after time.Duration, dead ...byte) reply {
	return func(b *fakeBus, _ int, frame []byte) {
		if !slices.Contains(dead, frame[0]) {
			b.link.put(after, answerTo(frame))
		}
	}
}

// TestDeadUnitDelaysNobody has one dead unit among three: the others keep their
// period to within one time-out, and the dead one is asked ever more rarely.
func TestDeadUnitDelaysNobody(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := Plan{Units: []byte{1, 2, 3}, Timeout: 400 * time.Millisecond, Blocks: []Block{{Function: 3, Count: 10, Every: 500 * time.Millisecond}}}
		bus := startBus(t, "serial:/dev/x", plan, deadReply(20*time.Millisecond, 2))
		time.Sleep(5 * time.Minute)
		synctest.Wait()
		for _, unit := range []byte{1, 3} {
			asked := bus.requests(unit)
			if len(asked) < 590 {
				t.Errorf("unit %d was asked %d times in 5 minutes, want about 600", unit, len(asked))
			}
			checkGaps(t, asked, plan.Blocks[0].Every+plan.Timeout+60*time.Millisecond)
			if n := bus.outcome(unit, Answered); n < int64(len(asked))-1 {
				t.Errorf("unit %d: %d of %d requests were answered", unit, n, len(asked))
			}
		}
		checkAbsence(t, bus.requests(2))
		if bus.saw(EventSilent) != 1 || bus.saw(EventAnswering) != 0 {
			t.Errorf("the silence was reported %d times, want once", bus.saw(EventSilent))
		}
	})
}

func checkGaps(t failer, asked []asking, most time.Duration) {
	for i := range asked[1:] {
		if gap := asked[i+1].at - asked[i].at; gap > most {
			t.Fatalf("unit %d waited %v at %v, want at most %v", asked[i].unit(), gap, asked[i].at, most)
		}
	}
}

// checkAbsence holds the requests to a dead unit to their law: one, two
// repetitions, and then waits from 1 s to 30 s.
func checkAbsence(t *testing.T, asked []asking) {
	t.Helper()
	if len(asked) < 10 || len(asked) > 20 {
		t.Errorf("the dead unit was asked %d times in 5 minutes, want about 15", len(asked))
	}
	want := []time.Duration{100, 200, 1000, 2000, 4000, 8000, 16000, 30000, 30000}
	for i, least := range want {
		gap := asked[i+1].at - asked[i].at
		if least *= time.Millisecond; gap < least || gap > least+2*time.Second {
			t.Errorf("request %d to the dead unit came after %v, want %v and at most 2 s more", i+1, gap, least)
		}
	}
}

// TestUnitsTakeTurns is the law of fairness, for any units: between two requests to
// one unit each other unit is asked that has something due, and a living unit
// waits at most its period, one time-out for each dead one, and the answers.
func TestUnitsTakeTurns(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		living := rapid.IntRange(1, 4).Draw(r, "living")
		dead := rapid.IntRange(0, 3).Draw(r, "dead")
		every := time.Duration(rapid.IntRange(300, 3000).Draw(r, "every")) * time.Millisecond
		timeout := time.Duration(rapid.IntRange(50, 1500).Draw(r, "timeout")) * time.Millisecond
		count := rapid.IntRange(1, 60).Draw(r, "count")
		var logs [][]asking
		synctest.Test(t, func(t *testing.T) { logs = watchTurns(t, living, dead, count, every, timeout) })
		exchange := 40*time.Millisecond + holdBack
		most := every + time.Duration(dead)*(timeout+exchange) + time.Duration(living)*exchange
		for _, asked := range logs {
			if len(asked) < 2 {
				r.Fatalf("a living unit was asked %d times", len(asked))
			}
			checkGaps(r, asked, most)
		}
	})
}

func watchTurns(t *testing.T, living, dead, count int, every, timeout time.Duration) (logs [][]asking) {
	plan := Plan{Timeout: timeout, Blocks: []Block{{Function: 3, Count: count, Every: every}}}
	var silent []byte
	for i := range living + dead {
		id := byte(i + 1)
		plan.Units = append(plan.Units, id)
		if i >= living {
			silent = append(silent, id)
		}
	}
	bus := startBus(t, "serial:/dev/x", plan, deadReply(20*time.Millisecond, silent...))
	for range 10 {
		time.Sleep(10 * time.Second)
		synctest.Wait()
		bus.received()
	}
	for i := range living {
		logs = append(logs, bus.requests(byte(i+1)))
	}
	return logs
}

// TestNewUnitAnswersAgain: a unit that comes back is asked at its period again.
func TestUnitComesBack(t *testing.T) {
	bubble(t, func(t *testing.T) {
		var away atomic.Bool
		away.Store(true)
		bus := startBus(t, "serial:/dev/x", onePlan(), func(b *fakeBus, _ int, frame []byte) {
			if !away.Load() {
				b.link.put(time.Millisecond, answerTo(frame))
			}
		})
		time.Sleep(time.Minute)
		synctest.Wait()
		away.Store(false)
		time.Sleep(31 * time.Second)
		synctest.Wait()
		before := len(bus.requests(1))
		time.Sleep(time.Minute)
		synctest.Wait()
		if n := len(bus.requests(1)) - before; n != 60 {
			t.Errorf("%d requests in the minute after it came back, want 60", n)
		}
		if bus.saw(EventSilent) != 1 || bus.saw(EventAnswering) != 1 {
			t.Errorf("silent was reported %d times and answering %d times, want once each", bus.saw(EventSilent), bus.saw(EventAnswering))
		}
		if c := bus.poller.Counts().Units[0]; c.Silent {
			t.Error("the unit still counts as silent")
		}
	})
}

// TestBusyLineSkipsTurns asks for more than the line can carry: turns are left out
// and counted, none is made up for, and both blocks get their share.
func TestBusyLineSkipsTurns(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Blocks = []Block{{Function: 3, Count: 100, Every: 100 * time.Millisecond}, {Function: 4, Count: 1, Every: time.Second}}
		bus := startBus(t, "serial:/dev/x", plan, soundReply(250*time.Millisecond))
		time.Sleep(time.Minute)
		synctest.Wait()
		slow := 0
		for _, a := range bus.requests(1) {
			if a.frame[1] == 4 {
				slow++
			}
		}
		counts := bus.poller.Counts().Units[0]
		if slow < 55 || counts.Skipped < 300 || counts.Asked > 240 {
			t.Errorf("the slow block was asked for %d times, %d turns were left out, %d requests sent", slow, counts.Skipped, counts.Asked)
		}
	})
}

// TestBusyLineIsShared: on a line that is too slow for all, each unit gets its share.
func TestBusyLineIsShared(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Units, plan.Blocks[0].Every = []byte{1, 2, 3}, 20*time.Millisecond
		bus := startBus(t, "serial:/dev/x", plan, soundReply(50*time.Millisecond))
		time.Sleep(time.Minute)
		synctest.Wait()
		all := len(bus.requests(0))
		for _, unit := range plan.Units {
			if n := len(bus.requests(unit)); n < all/3-1 {
				t.Errorf("unit %d got %d of %d requests", unit, n, all)
			}
		}
	})
}

func TestLongBlockIsCut(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Blocks, plan.MaxRegisters = []Block{{Function: 3, From: 10, Count: 100, Every: time.Second}}, 40
		bus := startBus(t, "serial:/dev/x", plan, soundReply(time.Millisecond))
		time.Sleep(900 * time.Millisecond)
		synctest.Wait()
		var parts [][2]int
		for _, a := range bus.requests(1) {
			parts = append(parts, [2]int{a.from(), a.count()})
		}
		want := [][2]int{{10, 40}, {50, 40}, {90, 20}, {10, 40}, {50, 40}} // the second turns are spread over the period
		if !slices.Equal(parts, want) {
			t.Errorf("got %v, want %v", parts, want)
		}
	})
}

// TestCutsSpareJoinedRegisters wants no cut before a register that belongs to the one
// before, unless so many belong together that a request cannot hold them.
func TestCutsSpareJoinedRegisters(t *testing.T) {
	for _, c := range []struct {
		joined []int
		want   [][2]int
	}{
		{nil, [][2]int{{10, 4}, {14, 4}, {18, 2}}},
		{[]int{4}, [][2]int{{10, 3}, {13, 4}, {17, 3}}},
		{[]int{3, 4, 8}, [][2]int{{10, 2}, {12, 4}, {16, 4}}},
		{[]int{1, 2, 3, 4, 5}, [][2]int{{10, 4}, {14, 4}, {18, 2}}},
	} {
		b := Block{Function: 3, From: 10, Count: 10, Joined: c.joined}
		var got [][2]int
		for _, part := range b.cut(4) {
			got = append(got, [2]int{part.From, part.Count})
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("joined %v: got %v, want %v", c.joined, got, c.want)
		}
	}
}
