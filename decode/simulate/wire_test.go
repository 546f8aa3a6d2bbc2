package simulate_test

import (
	"bytes"
	"errors"
	"io"
	"math/bits"
	"os"
	"strings"
	"testing"
	"time"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/decode/simulate"
	"packlink/mapping/library"
	"packlink/transport"
)

func TestParseWire(t *testing.T) {
	for text, want := range map[string]simulate.Wire{
		"":                       {},
		"lose=5%":                {Lose: 0.05},
		"freeze":                 {Freeze: true},
		"spoil=100%,delay=300ms": {Spoil: 1, Delay: 300 * time.Millisecond},
		"lose=0%, freeze":        {Freeze: true},
	} {
		if got, err := simulate.ParseWire(text); err != nil || got != want {
			t.Errorf("%q: got %+v, %v, want %+v", text, got, err, want)
		}
	}
	for _, text := range []string{"lose", "lose=5", "lose=101%", "lose=-1%", "lose=NaN%", "delay=3", "delay=-1s", "freeze=1", ",", "sulk", "lose=5%,,freeze"} {
		if got, err := simulate.ParseWire(text); err == nil {
			t.Errorf("%q is taken as %+v", text, got)
		}
	}
}

// TestFaults holds that a faulty wire loses and spoils about as much as it is told to, a
// single bit of a serial frame and none of a CAN frame, and the same with the same seed.
func TestFaults(t *testing.T) {
	const frames = 4000
	run := func(seed uint64, medium transport.Medium) (lost, spoilt int, all []byte) {
		faults := simulate.NewFaults(simulate.Wire{Lose: 0.1, Spoil: 0.2}, seed)
		for range frames {
			f := transport.Frame{Medium: medium, Data: make([]byte, 8)}
			if !faults.Pass(&f) {
				lost++
				continue
			}
			ones := 0
			for _, b := range f.Data {
				ones += bits.OnesCount8(b)
			}
			if ones > 1 {
				t.Fatalf("%d bits are wrong", ones)
			}
			spoilt += ones
			all = append(all, f.Data...)
		}
		return lost, spoilt, all
	}
	lost, spoilt, first := run(1, transport.Serial)
	if lost < 300 || lost > 500 || spoilt < 600 || spoilt > 840 { // far beyond five standard deviations
		t.Errorf("of %d frames %d are lost and %d spoilt", frames, lost, spoilt)
	}
	if _, _, again := run(1, transport.Serial); !bytes.Equal(first, again) {
		t.Error("the same seed gives other faults")
	}
	if _, _, other := run(2, transport.Serial); bytes.Equal(first, other) {
		t.Error("another seed gives the same faults")
	}
	if _, spoilt, _ := run(1, transport.CAN); spoilt != 0 {
		t.Errorf("%d CAN frames are spoilt", spoilt)
	}
}

// TestFaultyTraffic holds that the decoder notices each fault of a line: what is lost has
// no answer, what is spoilt has a wrong checksum or is no frame, and no value is wrong.
func TestFaultyTraffic(t *testing.T) {
	c, err := library.Compile("uart-dd77")
	if err != nil {
		t.Fatal(err)
	}
	traffic := newTraffic(t, c, "two-packs", simulate.Wire{Lose: 0.1, Spoil: 0.1, Delay: 30 * time.Millisecond})
	d, f := decode.NewDecoder(c, "bus"), transport.Frame{}
	for f.Time < noon+int64(10*time.Minute) {
		if err := traffic.Receive(&f); err != nil {
			t.Fatal(err)
		}
		if f.Channel == 0 {
			d.Decode(&f)
		}
	}
	line := d.LineCounters()
	if line.Unanswered < 100 || line.BadChecksum < 30 || line.Answers < 900 {
		t.Errorf("the decoder counts %+v", line)
	}
}

// TestTrafficRefuses names what cannot be simulated.
func TestTrafficRefuses(t *testing.T) {
	c, err := library.Compile("homebrew-can")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := simulate.New(c, plan(t, "two-packs"), noon, simulate.Wire{Spoil: 0.1}); err == nil || !strings.Contains(err.Error(), "CAN controller") {
		t.Errorf("spoilt CAN frames: %v", err)
	}
	empty := plan(t, "two-packs")
	empty.Packs = nil
	if _, err := simulate.New(c, empty, noon, simulate.Wire{}); err == nil {
		t.Error("a bank without packs is simulated")
	}
}

// TestAllIsLost: traffic of which nothing arrives ends at its instant, or when it is closed.
func TestAllIsLost(t *testing.T) {
	c, err := library.Compile("homebrew-can")
	if err != nil {
		t.Fatal(err)
	}
	ended, f := newTraffic(t, c, "two-packs", simulate.Wire{Lose: 1}), transport.Frame{}
	ended.EndAt(noon + int64(time.Hour))
	for range 2 {
		if err := ended.Receive(&f); err != io.EOF {
			t.Errorf("an hour in which all is lost gives %v", err)
		}
	}
	closed := newTraffic(t, c, "two-packs", simulate.Wire{Lose: 1})
	received := make(chan error, 1)
	go func() { received <- closed.Receive(new(transport.Frame)) }()
	closed.Close()
	if err := <-received; !errors.Is(err, os.ErrClosed) {
		t.Errorf("closed traffic gives %v", err)
	}
}

// TestTrafficEnds gives each frame before the end that it gives without one, and none at it.
func TestTrafficEnds(t *testing.T) {
	c, err := library.Compile("homebrew-can")
	if err != nil {
		t.Fatal(err)
	}
	endless, ended := newTraffic(t, c, "two-packs", simulate.Wire{}), newTraffic(t, c, "two-packs", simulate.Wire{})
	end := noon + int64(2*time.Second)
	ended.EndAt(end)
	for {
		var want, got transport.Frame
		if err := endless.Receive(&want); err != nil {
			t.Fatal(err)
		}
		err := ended.Receive(&got)
		if want.Time >= end {
			if err != io.EOF {
				t.Errorf("the end gives %v", err)
			}
			return
		}
		if err != nil || got.Time != want.Time || got.ID != want.ID {
			t.Fatalf("got %+v, %v; want %+v", got, err, want)
		}
	}
}

// TestFrozenCounter holds that counters stand still if they are told to.
func TestFrozenCounter(t *testing.T) {
	for _, frozen := range []bool{true, false} {
		c, err := library.Compile("nmea2000-battery")
		if err != nil {
			t.Fatal(err)
		}
		traffic, f := newTraffic(t, c, "two-packs", simulate.Wire{Freeze: frozen}), transport.Frame{}
		counters := make(map[byte]bool) // of fast packets, the upper three bits of the first byte
		for f.Time < noon+int64(20*time.Second) {
			if err := traffic.Receive(&f); err != nil {
				t.Fatal(err)
			}
			if f.ID>>8&0x1FFFF == 127506 {
				counters[f.Data[0]>>5] = true
			}
		}
		if (len(counters) == 1) != frozen {
			t.Errorf("frozen %t: %d values of the sequence counter are seen", frozen, len(counters))
		}
	}
}

// FuzzParseWire reads arbitrary text: what is taken lies within its limits.
func FuzzParseWire(f *testing.F) {
	for _, text := range []string{"", "lose=5%", "spoil=1%,freeze,delay=300ms", "lose=NaN%", "lose=1e9%", "delay=-1s", ",,", "freeze=1", "lose=\x00%"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		w, err := simulate.ParseWire(text)
		if err == nil && (!(w.Lose >= 0 && w.Lose <= 1) || !(w.Spoil >= 0 && w.Spoil <= 1) || w.Delay < 0) {
			t.Errorf("%q is taken as %+v", text, w)
		}
	})
}

// TestTrafficInOrder holds that the frames of every built-in mapping come in the order of
// their times, however late the answers are, and that a decoder has their values then too.
func TestTrafficInOrder(t *testing.T) {
	for _, name := range library.Names() {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, delay := range []time.Duration{0, 1500 * time.Millisecond} {
			traffic, f := newTraffic(t, c, "two-packs", simulate.Wire{Delay: delay}), transport.Frame{}
			d, newest := decode.NewDecoder(c, "bus"), int64(0)
			for newest < noon+int64(2*time.Minute) {
				if err := traffic.Receive(&f); err != nil {
					t.Fatal(err)
				}
				if f.Time < newest {
					t.Fatalf("%s, answers %v late: a frame is %v before the last one", name, delay, time.Duration(newest-f.Time))
				}
				if newest = f.Time; f.Channel == 0 {
					d.Decode(&f)
				}
			}
			var s pack.Status
			if d.Packs() == 0 || !d.Status(0, newest, &s) {
				t.Errorf("%s, answers %v late: no pack is heard: %+v", name, delay, d.LineCounters())
			}
		}
	}
}
