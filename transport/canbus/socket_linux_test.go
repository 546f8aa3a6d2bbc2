package canbus

import (
	"bytes"
	"errors"
	"os"
	"testing"
	"time"

	"golang.org/x/sys/unix"
	"pgregory.net/rapid"

	"packlink/transport"
)

// These tests feed the reader through a pair of AF_UNIX sockets, so that they run
// on machines without CAN. Those with a real CAN socket need the guest.

func TestSocketSkipsWhatIsNoFrame(t *testing.T) {
	s, other := pairedSocket(t)
	for _, b := range [][]byte{{1}, make([]byte, 15), make([]byte, 71), bytes.Repeat([]byte{0xFF}, 16), make([]byte, 100), errorFrame(0x40), numbered(5)} {
		if _, err := other.Write(b); err != nil {
			t.Fatal(err)
		}
	}
	var all []string
	var f transport.Frame
	for range 3 { // the 100 bytes are cut to the 72 of a CAN FD frame
		if err := s.Receive(&f); err != nil {
			t.Fatal(err)
		}
		if late := time.Since(time.Unix(0, f.Time)); late < 0 || late > time.Minute {
			t.Errorf("a frame has a time that is %s ago", late)
		}
		all = append(all, dump(&f))
	}
	if all[1] != "00000040#0000000000000000" || all[2] != "123#0500" || s.Health().State != BusOff {
		t.Errorf("%q, health %+v", all, s.Health())
	}
}

func TestSocketReadsMoreThanABatch(t *testing.T) {
	s, other := pairedSocket(t)
	const frames = 5*batchSize + 3
	go func() {
		for n := range frames {
			if _, err := other.Write(numbered(n)); err != nil {
				t.Error(err)
			}
		}
	}()
	var f transport.Frame
	for n := range frames {
		if err := s.Receive(&f); err != nil {
			t.Fatal(err)
		}
		if got := int(f.Data[0]) | int(f.Data[1])<<8; got != n {
			t.Fatalf("frame %d came as number %d", n, got)
		}
	}
}

func TestSocketCloseEndsReceive(t *testing.T) {
	for _, busy := range []bool{false, true} {
		s, other := pairedSocket(t)
		stop := make(chan struct{})
		fed := make(chan struct{})
		go func() {
			defer close(fed)
			for n := 0; busy; n++ {
				select {
				case <-stop:
					return
				default:
					other.Write(numbered(n))
				}
			}
		}()
		ended := make(chan error, 1)
		go func() {
			var f transport.Frame
			var err error
			for err == nil {
				err = s.Receive(&f)
			}
			ended <- err
		}()
		time.Sleep(5 * time.Millisecond)
		closeAll(t, s)
		if err := <-ended; !errors.Is(err, os.ErrClosed) {
			t.Errorf("busy %t: Receive ended with %v", busy, err)
		}
		close(stop)
		<-fed
	}
}

// TestNotesOfAnyBytes reads control messages that are nonsense.
func TestNotesOfAnyBytes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.SliceOfN(rapid.Byte(), 0, controlSize).Draw(t, "bytes")
		if said := readNote(b); len(b) < unix.SizeofCmsghdr && said != (note{}) {
			t.Fatalf("% X says %+v", b, said)
		}
	})
}

// TestDropsAreCounted hands the reader the kernel's counts, which wrap around.
func TestDropsAreCounted(t *testing.T) {
	s, _ := pairedSocket(t)
	s.dropped.Store(0xFFFFFFF0)
	for _, c := range []struct {
		said note
		lost bool
		sum  uint64
	}{
		{note{}, false, 0},
		{note{counted: true, dropped: 0xFFFFFFF0}, false, 0},
		{note{counted: true, dropped: 0xFFFFFFFF}, true, 15},
		{note{counted: true, dropped: 4}, true, 20},
		{note{counted: true, dropped: 4}, false, 20},
	} {
		s.noteDrops(c.said)
		f := transport.Frame{Medium: transport.CAN}
		s.accept(&f)
		if lost := f.Flags&transport.Lost != 0; lost != c.lost || s.get().Dropped != c.sum {
			t.Errorf("%+v: lost %t, %d dropped, want %t, %d", c.said, lost, s.get().Dropped, c.lost, c.sum)
		}
	}
}
