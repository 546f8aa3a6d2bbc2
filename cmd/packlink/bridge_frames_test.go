package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"packlink/decode"
	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/mapping/library"
	"packlink/transport"
	"packlink/transport/canbus"
)

// fakeBus notes what is sent on it, and when.
type fakeBus struct {
	mu     sync.Mutex
	frames []transport.Frame
	broken error
	heard  chan any // a frame that is heard, or what hearing ends in
	closed chan struct{}
	once   sync.Once
}

func (b *fakeBus) Send(f *transport.Frame) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.broken != nil {
		return b.broken
	}
	kept := *f
	kept.Data, kept.Time = bytes.Clone(f.Data), time.Now().UnixNano()
	b.frames = append(b.frames, kept)
	return nil
}

func (b *fakeBus) breakWith(err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.broken = err
}

// sent takes off what was sent so far.
func (b *fakeBus) sent() []transport.Frame {
	b.mu.Lock()
	defer b.mu.Unlock()
	frames := b.frames
	b.frames = nil
	return frames
}

func (b *fakeBus) Receive(f *transport.Frame) error {
	select {
	case heard := <-b.heard:
		if frame, is := heard.(transport.Frame); is {
			*f = frame
			return nil
		}
		return heard.(error)
	case <-b.closed:
		return os.ErrClosed
	}
}

func (b *fakeBus) Health() canbus.Health { return canbus.Health{} }
func (b *fakeBus) Close() error          { b.once.Do(func() { close(b.closed) }); return nil }

// transmitting runs an output of a mapping on a bus of which the test sees all.
// Call it in a bubble of synctest.
func transmitting(t *testing.T, mapping string, units ...shownUnit) (*canOutput, *fakeBus, *logged) {
	t.Helper()
	table, err := soundMapping(mapping)
	if err != nil {
		t.Fatal(err)
	}
	bus, log := &fakeBus{heard: make(chan any, 1), closed: make(chan struct{})}, &logged{}
	o, err := newCANOutputOn(bus, &outputPlan{to: transport.Endpoint{Scheme: "can", Address: "can1"}, table: table, units: units}, log)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- o.run(ctx) }()
	t.Cleanup(func() {
		told := time.Now()
		cancel()
		if err := <-done; err != nil || time.Since(told) > 0 {
			t.Errorf("the output ends with %v, %v after it is told to", err, time.Since(told))
		}
	})
	return o, bus, log
}

// leftAt shows the pack left/1 at an address.
func leftAt(unit uint32) shownUnit {
	return shownUnit{unit: unit, text: "left/1", source: "left", address: 1, hasAddress: true}
}

// onePack is a bank of one pack, left/1, with some values.
func onePack(fresh bool, values map[pack.Quantity]pack.Decimal) *bank.Bank {
	now := time.Now().UnixNano()
	s := pack.Status{Source: "left", Address: 1, HasAddress: true, Fresh: fresh, Now: now, Time: now}
	for q, v := range values {
		s.SetNumber(q, v, now)
	}
	return bank.Sum("shed", pack.Decimal{}, now, []pack.Status{s})
}

var terminals = map[pack.Quantity]pack.Decimal{
	pack.Voltage: {Coef: 5274, Exp: -2}, pack.Current: {Coef: -615, Exp: -1}, pack.SOC: {Coef: 878, Exp: -1}, pack.SOH: pack.Int(99),
}

// TestFramesOutputKeepsPeriods holds that each message is sent at its own period,
// to the instant, and says what the pack says, at the address that is configured.
func TestFramesOutputKeepsPeriods(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, bus, _ := transmitting(t, "homebrew-can", leftAt(7))
		time.Sleep(100 * time.Millisecond) // beside the instants at which something is due
		for range 40 {
			o.publish(onePack(true, terminals), nil)
			time.Sleep(250 * time.Millisecond)
		}
		frames := bus.sent()
		if len(frames) != 10 {
			t.Fatalf("%d frames in 10 s, want the one message that is known, each second", len(frames))
		}
		d := decode.NewDecoder(o.plan.table, "test")
		for i := range frames {
			if i > 0 && frames[i].Time-frames[i-1].Time != int64(time.Second) {
				t.Errorf("frame %d comes %d ns after the one before", i, frames[i].Time-frames[i-1].Time)
			}
			d.Decode(&frames[i])
		}
		var s pack.Status
		d.Status(0, time.Now().UnixNano(), &s)
		for q, want := range terminals {
			if got, ok := s.Usable(q); !ok || got.Cmp(want) != 0 || s.Address != 7 {
				t.Errorf("%v of address %d is %v, want %v of 7", q, s.Address, got, want)
			}
		}
	})
}

// TestFramesOutputFallsSilent holds that nothing is sent of what is not heard, of a
// state that is old, and before there is any.
func TestFramesOutputFallsSilent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, bus, log := transmitting(t, "homebrew-can", leftAt(1), shownUnit{unit: 2, text: wholeBank})
		silent := func(what string) {
			t.Helper()
			if frames := bus.sent(); len(frames) > 0 {
				t.Errorf("%s: %d frames are sent", what, len(frames))
			}
		}
		time.Sleep(3200 * time.Millisecond) // beside the instants at which something is due
		silent("before the first state")
		o.publish(onePack(true, terminals), nil)
		time.Sleep(2 * time.Second)
		if n := len(bus.sent()); n != 4 {
			t.Errorf("%d frames are sent, want two rounds of the pack's and the bank's terminals", n)
		}
		o.publish(onePack(false, terminals), nil)
		time.Sleep(2 * time.Second)
		silent("of a silent pack")
		o.publish(onePack(true, terminals), nil)
		time.Sleep(30 * time.Second)
		bus.sent()
		time.Sleep(5 * time.Second)
		silent("from a state of half a minute ago")
		for text, n := range map[string]int{"left/1 is not heard: nothing of it is sent": 1, "left/1 is heard, and sent": 1, "bank is not heard": 1} {
			if strings.Count(log.String(), text) != n {
				t.Errorf("want %d times %q in the log:\n%s", n, text, log)
			}
		}
	})
}

// TestFramesOutputForbids holds that an overdue permission is sent as 0 A, and that
// a voltage limit, which cannot be sent as "not known" here, keeps its message back.
func TestFramesOutputForbids(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, bus, _ := transmitting(t, "homebrew-can", leftAt(1))
		old, oldBus, _ := transmitting(t, "storage-can-35x", leftAt(0))
		b := onePack(true, terminals)
		for _, q := range []pack.Quantity{pack.ChargeCurrentLimit, pack.DischargeCurrentLimit} {
			b.Packs[0].Put(q, pack.Value{Trust: pack.Known | pack.Stale})
		}
		o.publish(b, nil)
		old.publish(b, nil)
		time.Sleep(2 * time.Second)
		limits := 0
		for _, f := range bus.sent() {
			if f.ID>>8&0xFFFF == 0xFF42 {
				limits++
				if want := []byte{0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0, 0}; !bytes.Equal(f.Data, want) {
					t.Errorf("the limits are % X, want % X", f.Data, want)
				}
			}
		}
		if limits == 0 {
			t.Error("the limits are not sent")
		}
		for _, f := range oldBus.sent() {
			if f.ID == 0x351 {
				t.Errorf("limits without a voltage are sent as % X", f.Data)
			}
		}
	})
}

// TestFramesOutputDoesNotFit holds that a value which does not fit its field is
// counted and told of once, and that its message is not sent.
func TestFramesOutputDoesNotFit(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, bus, log := transmitting(t, "storage-can-35x", shownUnit{text: wholeBank})
		high := map[pack.Quantity]pack.Decimal{pack.Voltage: pack.Int(400), pack.Current: pack.Int(1)}
		o.publish(onePack(true, high), nil)
		time.Sleep(5500 * time.Millisecond)
		for _, f := range bus.sent() {
			if f.ID == 0x356 {
				t.Errorf("400 V are sent as % X", f.Data)
			}
		}
		if n := o.unfit(); n < 5 {
			t.Errorf("%d messages are counted", n)
		}
		o.publish(onePack(true, terminals), nil)
		time.Sleep(2 * time.Second)
		if len(bus.sent()) == 0 {
			t.Error("nothing is sent of what fits")
		}
		for _, text := range []string{`message "terminals" is not sent: voltage_v is 400, which does not fit its field (i16)`, `message "terminals" fits again`} {
			if strings.Count(log.String(), text) != 1 {
				t.Errorf("want once %q in the log:\n%s", text, log)
			}
		}
	})
}

// TestFramesOutputOfBrokenBus holds that a bus that takes nothing is told of once,
// and used again when it does.
func TestFramesOutputOfBrokenBus(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o, bus, log := transmitting(t, "storage-can-35x", shownUnit{text: wholeBank})
		bus.breakWith(errors.New("the interface is down"))
		o.publish(onePack(true, terminals), nil)
		time.Sleep(5 * time.Second)
		bus.breakWith(nil)
		time.Sleep(2 * time.Second)
		if len(bus.sent()) == 0 {
			t.Error("nothing is sent on the mended bus")
		}
		for _, text := range []string{"cannot send: the interface is down", "sends again"} {
			if strings.Count(log.String(), text) != 1 {
				t.Errorf("want once %q in the log:\n%s", text, log)
			}
		}
	})
}

// TestFramesOutputThatHearsNoMore ends with an error as soon as its bus can be heard no more,
// and sends nothing after that.
func TestFramesOutputThatHearsNoMore(t *testing.T) {
	for says, heard := range map[string]error{"the adapter is gone": errors.New("the adapter is gone"), "the bus has ended": io.EOF} {
		synctest.Test(t, func(t *testing.T) {
			table, err := library.Compile("homebrew-can")
			if err != nil {
				t.Fatal(err)
			}
			bus := &fakeBus{heard: make(chan any, 1), closed: make(chan struct{})}
			o, err := newCANOutputOn(bus, &outputPlan{table: table, units: []shownUnit{leftAt(1)}}, io.Discard)
			if err != nil {
				t.Fatal(err)
			}
			o.publish(onePack(true, terminals), nil)
			done := make(chan error, 1)
			go func() { done <- o.run(t.Context()) }()
			time.Sleep(1500 * time.Millisecond)
			bus.heard <- heard
			synctest.Wait()
			select {
			case err := <-done:
				if err == nil || !strings.Contains(err.Error(), says) {
					t.Errorf("the output ends with %v, want %q", err, says)
				}
			default:
				t.Fatalf("the output goes on without hearing")
			}
			bus.sent()
			time.Sleep(5 * time.Second)
			if n := len(bus.sent()); n > 0 {
				t.Errorf("%d frames are sent after the end", n)
			}
		})
	}
}

// TestRegistersThatDoNotFit counts and tells of each value once when it outgrows its
// register, and once when it is back.
func TestRegistersThatDoNotFit(t *testing.T) {
	layout, err := library.Compile("homebrew-modbus")
	if err != nil {
		t.Fatal(err)
	}
	o := (&outputPlan{table: layout}).newRegisters(new(bytes.Buffer))
	for _, volts := range []int64{50, 800, 800, 50, 800} {
		o.publish(onePack(true, map[pack.Quantity]pack.Decimal{pack.Voltage: pack.Int(volts)}), nil)
	}
	text := o.log.(*bytes.Buffer).String()
	if o.unfit() != 2 || strings.Count(text, "does not fit its field") != 2 || strings.Count(text, "fits its register again") != 1 {
		t.Errorf("%d are counted, and the log says\n%s", o.unfit(), text)
	}
}

// TestCoverageIsTold holds what the log says of an output at the start, worked by hand
// from the two mappings.
func TestCoverageIsTold(t *testing.T) {
	source, err := library.Compile("storage-can-35x")
	if err != nil {
		t.Fatal(err)
	}
	target, err := library.Compile("homebrew-can")
	if err != nil {
		t.Fatal(err)
	}
	p := &plan{bank: "shed", sources: []sourcePlan{{name: "left", table: source}}}
	o := &outputPlan{table: target, units: []shownUnit{{unit: 1, text: wholeBank}, {unit: 2, text: "left", source: "left"}, {unit: 3, text: wholeBank}}}
	var log bytes.Buffer
	tellCoverage(p, o, &log)
	for text, n := range map[string]int{
		"of the bank, as far as the packs send it:": 1, "of left, as far": 1, "can reach: voltage_v (in steps of 0.01 V), current_a (in steps of 0.1 A)": 2, "lost: maker, ": 2, "packs_fresh": 1, "alarm overtemperature warning": 2,
	} {
		if strings.Count(log.String(), text) != n {
			t.Errorf("want %d times %q in\n%s", n, text, &log)
		}
	}
	if got := reachText(&decode.Reach{Quantity: pack.Packs, Step: pack.Int(1)}); got != "packs (in steps of 1)" {
		t.Errorf("a count is %q", got)
	}
}

// TestDocumentedBuses holds that the configurations of docs/bridge.md and docs/simulate.md
// are taken.
func TestDocumentedBuses(t *testing.T) {
	for _, name := range []string{"buses", "simulated"} {
		p, err := loadPlan("testdata/" + name + ".yaml")
		if err != nil {
			t.Errorf("%s: %v", name, err)
		} else if len(p.outputs) == 0 {
			t.Errorf("%s has no outputs", name)
		}
	}
}
