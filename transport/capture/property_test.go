package capture

import (
	"bytes"
	"io"
	"slices"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"packlink/transport"
)

// drawFrame is any frame that a bus of the medium can carry.
func drawFrame(t *rapid.T, channel int, medium transport.Medium) transport.Frame {
	f := transport.Frame{
		Channel:   channel,
		Medium:    medium,
		Time:      rapid.Int64Range(0, 1<<63-1).Draw(t, "time"),
		Direction: rapid.SampledFrom([]transport.Direction{transport.DirectionUnknown, transport.Received, transport.Sent}).Draw(t, "direction"),
		Flags:     rapid.SampledFrom([]transport.Flags{0, transport.Damaged, transport.Lost, transport.Damaged | transport.Lost}).Draw(t, "marks"),
	}
	if medium == transport.Serial {
		f.Time %= 1 << 32 * 1e9
		f.Data = rapid.SliceOfN(rapid.Byte(), 1, 300).Draw(t, "data")
		return f
	}
	f.Flags |= rapid.SampledFrom([]transport.Flags{0, transport.Extended, transport.Remote, transport.Extended | transport.Remote,
		transport.BusError, transport.FD, transport.FD | transport.Extended}).Draw(t, "kind")
	top := uint32(0x7FF)
	if f.Flags&(transport.Extended|transport.BusError) != 0 {
		top = 0x1FFFFFFF
	}
	f.ID = rapid.Uint32Range(0, top).Draw(t, "id")
	most := 8
	if f.Flags&transport.FD != 0 {
		most = 64
	}
	if f.Flags&transport.Remote == 0 {
		f.Data = rapid.SliceOfN(rapid.Byte(), 0, most).Draw(t, "data")
	}
	return f
}

func drawCapture(t *rapid.T) (buses []Bus, frames []transport.Frame) {
	buses = rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Bus {
		return Bus{Name: rapid.StringN(0, 12, MaxName).Draw(t, "name"), Medium: rapid.SampledFrom([]transport.Medium{transport.CAN, transport.Serial}).Draw(t, "medium")}
	}), 1, 4).Draw(t, "buses")
	for range rapid.IntRange(0, 12).Draw(t, "count") {
		channel := rapid.IntRange(0, len(buses)-1).Draw(t, "channel")
		frames = append(frames, drawFrame(t, channel, buses[channel].Medium))
	}
	return buses, frames
}

func texts(frames []transport.Frame) (all []string) {
	for _, f := range frames {
		all = append(all, text(f))
	}
	return all
}

func TestWriteThenReadIsIdentity(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		buses, frames := drawCapture(rt)
		got := readAll(t, bytes.NewReader(writeAll(t, buses, frames...)))
		if diff := cmp.Diff(texts(frames), got.Frames); diff != "" || got.Faults != nil || got.Left != 0 {
			rt.Fatalf("torn %d, faults %q, frames:\n%s", got.Left, got.Faults, diff)
		}
		for i, bus := range buses {
			want := LinkCAN
			if bus.Medium == transport.Serial {
				want = LinkSerial
			}
			if in := got.Interfaces[i]; in.Name != bus.Name || in.LinkType != want || in.Resolution != Nanoseconds {
				rt.Fatalf("bus %+v became %+v", bus, in)
			}
		}
	})
}

func TestPrefixGivesPrefix(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		buses, frames := drawCapture(rt)
		whole := writeAll(t, buses, frames...)
		cut := rapid.IntRange(0, len(whole)).Draw(rt, "cut")
		got := readAll(t, bytes.NewReader(whole[:cut]))
		if want := texts(frames)[:len(got.Frames)]; !slices.Equal(want, got.Frames) {
			rt.Fatalf("the first %d bytes gave\n%s", cut, cmp.Diff(want, got.Frames))
		}
		if cut >= 4 && (got.Faults != nil || got.Left > 0 && got.At+got.Left != int64(cut)) {
			rt.Fatalf("the first %d bytes: torn at %d, %d left, faults %q", cut, got.At, got.Left, got.Faults)
		}
		if cut < 4 && len(got.Faults) != 1 {
			rt.Fatalf("the first %d bytes were taken for a capture", cut)
		}
	})
}

// TestCutAtEveryByte checks what is left of a torn block, for every cut of a
// capture, against the places where its blocks begin.
func TestCutAtEveryByte(t *testing.T) {
	bus := []Bus{{"can0", transport.CAN}}
	frame := transport.Frame{Medium: transport.CAN, ID: 1, Data: []byte{1, 2, 3}}
	starts := []int{0, 28, len(writeAll(t, bus)), len(writeAll(t, bus, frame)), len(writeAll(t, bus, frame, frame))}
	whole := writeAll(t, bus, frame, frame)
	block := 0
	for cut := 4; cut <= len(whole); cut++ {
		for block+1 < len(starts) && starts[block+1] <= cut {
			block++
		}
		got := readAll(t, iotest.HalfReader(bytes.NewReader(whole[:cut])))
		if left := cut - starts[block]; got.Left != int64(left) || left > 0 && got.At != int64(starts[block]) {
			t.Fatalf("cut at %d: %d left from %d, want %d from %d", cut, got.Left, got.At, left, starts[block])
		}
		if want := max(0, block-2); len(got.Frames) != want || got.Faults != nil {
			t.Fatalf("cut at %d: %d frames, want %d; %q", cut, len(got.Frames), want, got.Faults)
		}
	}
}

func TestChunksMakeNoDifference(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		buses, frames := drawCapture(rt)
		whole := writeAll(t, buses, frames...)
		for name, chunked := range map[string]io.Reader{
			"one byte": iotest.OneByteReader(bytes.NewReader(whole)), "half": iotest.HalfReader(bytes.NewReader(whole)),
			"io.EOF early": iotest.DataErrReader(bytes.NewReader(whole)),
		} {
			if diff := cmp.Diff(readAll(t, bytes.NewReader(whole)), readAll(t, chunked)); diff != "" {
				rt.Fatalf("%s:\n%s", name, diff)
			}
		}
	})
}
