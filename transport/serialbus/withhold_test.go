package serialbus

import (
	"fmt"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"
)

// TestBlockNotGivenNow has a unit that answers one block and refuses the other for a
// while, by the exceptions of gateways (MODBUS Application Protocol V1.1b3, section
// 7): the unit is not called silent, both keep their period, and the log tells of the
// block once, and once of its return. When nothing is given any more, the unit is
// silent.
func TestBlockNotGivenNow(t *testing.T) {
	for _, code := range []byte{0x0A, 0x0B} {
		t.Run(fmt.Sprintf("exception %02X", code), func(t *testing.T) {
			bubble(t, func(t *testing.T) {
				plan := Plan{Units: []byte{1}, Timeout: 400 * time.Millisecond, Blocks: []Block{
					{Function: 3, From: 0, Count: 10, Every: time.Second}, {Function: 3, From: 100, Count: 10, Every: time.Second},
				}}
				var withheld atomic.Int64 // registers below this are not given
				withheld.Store(100)
				bus := startBus(t, "serial:/dev/x", plan, func(b *fakeBus, _ int, frame []byte) {
					if int64(asking{frame: frame}.from()) < withheld.Load() {
						b.link.put(soon, refusal(frame, code))
						return
					}
					b.link.put(soon, answerTo(frame))
				})
				follow := func(span time.Duration) {
					time.Sleep(span)
					synctest.Wait()
				}
				follow(time.Minute)
				if bus.saw(EventSilent) != 0 || bus.saw(EventWithheld) != 1 || bus.saw(EventGiven) != 0 {
					t.Errorf("one block is withheld: events %v", bus.events)
				}
				if n := len(bus.requests(1)); n < 118 || n > 125 {
					t.Errorf("asked %d times in a minute, want about 120", n)
				}
				withheld.Store(0)
				follow(10 * time.Second)
				if bus.saw(EventSilent) != 0 || bus.saw(EventWithheld) != 1 || bus.saw(EventGiven) != 1 {
					t.Errorf("it is given again: events %v", bus.events)
				}
				withheld.Store(1000)
				follow(time.Minute)
				if bus.saw(EventSilent) != 1 || bus.saw(EventWithheld) != 1 {
					t.Errorf("nothing is given: events %v", bus.events)
				}
			})
		})
	}
}
