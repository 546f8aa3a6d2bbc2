package serialbus

import (
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"
)

// holes is a unit that refuses requests for some registers with exception 02, as
// MODBUS Application Protocol V1.1b3, section 7, has it: one bad register is enough.
func holes(bad func(register int) bool) reply {
	return func(b *fakeBus, _ int, frame []byte) {
		a := asking{frame: frame}
		for r := a.from(); r < a.from()+a.count(); r++ {
			if bad(r) {
				b.link.put(time.Millisecond, refusal(frame, 2))
				return
			}
		}
		b.link.put(time.Millisecond, answerTo(frame))
	}
}

// TestRefusedBlockIsSearched has a block of which 73 to 99 are not there.
func TestRefusedBlockIsSearched(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Blocks[0].Count, plan.Blocks[0].Every = 100, 10*time.Second
		bus := startBus(t, "serial:/dev/x?baud=115200", plan, holes(func(r int) bool { return r > 72 }))
		time.Sleep(9 * time.Second)
		synctest.Wait()
		if searched := len(bus.requests(1)); searched > 70 {
			t.Errorf("the search took %d requests", searched)
		}
		want := []Registers{{3, 73, 27}}
		if got := bus.poller.Counts().Units[0].Unreadable; !slices.Equal(got, want) {
			t.Errorf("unreadable: got %v, want %v", got, want)
		}
		checkSteady(t, bus, [][2]int{{0, 73}})
		if bus.saw(EventUnreadable) != 1 {
			t.Errorf("it was reported %d times, want once", bus.saw(EventUnreadable))
		}
	})
}

// checkSteady holds what is asked in the next minute, by periods of 10 s.
func checkSteady(t *testing.T, bus *fakeBus, want [][2]int) {
	t.Helper()
	before := len(bus.requests(1))
	time.Sleep(time.Minute)
	synctest.Wait()
	asked := bus.requests(1)[before:]
	if len(asked) != 6*len(want) {
		t.Fatalf("%d requests in six periods, want %d", len(asked), 6*len(want))
	}
	for _, a := range asked {
		if !slices.Contains(want, [2]int{a.from(), a.count()}) {
			t.Errorf("%d registers from %d were asked for, want one of %v", a.count(), a.from(), want)
		}
	}
}

// TestNothingIsReadable: a unit that refuses everything is asked for each register
// once and then no more.
func TestNothingIsReadable(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Blocks[0].Count = 125
		bus := startBus(t, "serial:/dev/x?baud=115200", plan, holes(func(int) bool { return true }))
		time.Sleep(time.Minute)
		synctest.Wait()
		before := len(bus.requests(1))
		time.Sleep(time.Hour)
		synctest.Wait()
		if asked := len(bus.requests(1)); asked != before || asked != 2*125-1 {
			t.Errorf("%d requests in the first minute and %d in all, want 249", before, asked)
		}
		if got := bus.poller.Counts().Units[0].Unreadable; !slices.Equal(got, []Registers{{3, 0, 125}}) {
			t.Errorf("unreadable: %v", got)
		}
	})
}

// TestSearchFindsWhatIsReadable, for any holes.
func TestSearchFindsWhatIsReadable(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		count := rapid.IntRange(1, 125).Draw(r, "count")
		bad := map[int]bool{}
		for range rapid.IntRange(0, 6).Draw(r, "holes") {
			bad[1000+rapid.IntRange(0, count-1).Draw(r, "hole")] = true
		}
		var got string
		synctest.Test(t, func(t *testing.T) { got = search(t, count, bad) })
		if want := runs(count, bad); got != want {
			r.Fatalf("got %s, want %s", got, want)
		}
	})
}

// search lists what is asked for in the end.
func search(t *testing.T, count int, bad map[int]bool) string {
	plan := onePlan()
	plan.Blocks[0] = Block{Function: 4, From: 1000, Count: count, Every: 20 * time.Second}
	bus := startBus(t, "serial:/dev/x?baud=115200", plan, holes(func(r int) bool { return bad[r] }))
	time.Sleep(19 * time.Second)
	synctest.Wait()
	before := len(bus.requests(1))
	time.Sleep(20 * time.Second)
	synctest.Wait()
	var found []string
	for _, a := range bus.requests(1)[before:] {
		found = append(found, fmt.Sprintf("%d+%d", a.from(), a.count()))
	}
	return strings.Join(found, " ")
}

// runs lists the readable registers as they should be asked for.
func runs(count int, bad map[int]bool) string {
	var all []string
	for r, n := 1000, 0; r <= 1000+count; r++ {
		if r < 1000+count && !bad[r] {
			n++
			continue
		}
		if n > 0 {
			all = append(all, fmt.Sprintf("%d+%d", r-n, n))
		}
		n = 0
	}
	return strings.Join(all, " ")
}

// TestJoinedPieceRefused: a unit that says 02 where it means "too many" is asked in
// the parts that it did answer, for good.
func TestJoinedPieceRefused(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Blocks[0].Count, plan.Blocks[0].Every = 100, 10*time.Second
		var most atomic.Int64
		most.Store(40)
		bus := startBus(t, "serial:/dev/x?baud=115200", plan, func(b *fakeBus, _ int, frame []byte) {
			if (asking{frame: frame}).count() > int(most.Load()) {
				b.link.put(time.Millisecond, refusal(frame, 2))
				return
			}
			b.link.put(time.Millisecond, answerTo(frame))
		})
		time.Sleep(25 * time.Second)
		synctest.Wait()
		checkSteady(t, bus, [][2]int{{0, 25}, {25, 25}, {50, 25}, {75, 25}})
		most.Store(15)
		time.Sleep(25 * time.Second)
		synctest.Wait()
		checkSteady(t, bus, [][2]int{{0, 12}, {12, 13}, {25, 12}, {37, 13}, {50, 12}, {62, 13}, {75, 12}, {87, 13}})
		if got := bus.poller.Counts().Units[0].Unreadable; got != nil {
			t.Errorf("unreadable: %v, want none", got)
		}
	})
}

// TestOtherRefusals: 01 and 03 end the asking, 04 and 06 do not, 0A and 0B are silence.
func TestOtherRefusals(t *testing.T) {
	for code, want := range map[byte]struct {
		least, most int
		event       EventKind
	}{
		1:    {1, 1, EventUnreadable},
		3:    {1, 1, EventUnreadable},
		4:    {60, 61, ""},
		5:    {60, 61, ""},
		6:    {60, 61, ""},
		8:    {60, 61, ""},
		0x0A: {7, 10, EventSilent},
		0x0B: {7, 10, EventSilent},
		0x77: {60, 61, ""},
	} {
		t.Run(fmt.Sprintf("exception %02X", code), func(t *testing.T) {
			bubble(t, func(t *testing.T) {
				bus := startBus(t, "serial:/dev/x", onePlan(), func(b *fakeBus, _ int, frame []byte) { b.link.put(soon, refusal(frame, code)) })
				time.Sleep(time.Minute)
				synctest.Wait()
				asked := len(bus.requests(1))
				if asked < want.least || asked > want.most || want.event != "" && bus.saw(want.event) != 1 {
					t.Errorf("asked %d times, want %d to %d; events %v", asked, want.least, want.most, bus.events)
				}
				if n := bus.outcome(1, Refused); n < int64(asked)-1 {
					t.Errorf("%d refusals counted of %d", n, asked)
				}
			})
		})
	}
}

// TestFindingsEndWithTheLine: after a loss of the line all is asked for again, and
// so it is when a unit comes back.
func TestFindingsEndWithTheLine(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Blocks[0].Every = 10 * time.Second
		var missing atomic.Int64
		missing.Store(5)
		bus := startBus(t, "serial:/dev/x", plan, func(b *fakeBus, n int, frame []byte) {
			holes(func(r int) bool { return r >= int(missing.Load()) })(b, n, frame)
		})
		time.Sleep(10 * time.Second)
		synctest.Wait()
		checkSteady(t, bus, [][2]int{{0, 5}})
		missing.Store(10)
		bus.link.put(0, nil)
		time.Sleep(10 * time.Second)
		synctest.Wait()
		checkSteady(t, bus, [][2]int{{0, 10}})
		if bus.saw(EventGone) != 1 || bus.saw(EventBack) != 1 {
			t.Errorf("gone was reported %d times and back %d times, want once each", bus.saw(EventGone), bus.saw(EventBack))
		}
	})
}

func TestFindingsEndWithSilence(t *testing.T) {
	bubble(t, func(t *testing.T) {
		plan := onePlan()
		plan.Blocks[0].Every = 10 * time.Second
		var missing atomic.Int64
		var away atomic.Bool
		missing.Store(5)
		bus := startBus(t, "serial:/dev/x", plan, func(b *fakeBus, n int, frame []byte) {
			if !away.Load() {
				holes(func(r int) bool { return r >= int(missing.Load()) })(b, n, frame)
			}
		})
		time.Sleep(15 * time.Second)
		synctest.Wait()
		away.Store(true)
		time.Sleep(time.Minute)
		synctest.Wait()
		away.Store(false)
		missing.Store(10)
		time.Sleep(time.Minute)
		synctest.Wait()
		checkSteady(t, bus, [][2]int{{0, 10}})
		if got := bus.poller.Counts().Units[0].Unreadable; got != nil {
			t.Errorf("unreadable: %v, want none", got)
		}
	})
}
