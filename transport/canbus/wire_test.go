package canbus

import (
	"bytes"
	"encoding/binary"
	"testing"

	"go.einride.tech/can"
	"go.einride.tech/can/pkg/socketcan"
	"pgregory.net/rapid"

	"packlink/transport"
)

// TestWireAgainstLibrary holds the layout of classic frames to that of
// go.einride.tech/can, which knows the little-endian one.
func TestWireAgainstLibrary(t *testing.T) {
	if binary.NativeEndian.Uint16([]byte{1, 0}) != 1 {
		t.Skip("this machine is big-endian, and the library is not")
	}
	rapid.Check(t, func(t *rapid.T) {
		f := drawFrame(t)
		other := can.Frame{
			ID: f.ID, Length: uint8(len(f.Data)),
			IsExtended: f.Flags&transport.Extended != 0, IsRemote: f.Flags&transport.Remote != 0,
		}
		copy(other.Data[:], f.Data)
		var theirs socketcan.Frame
		theirs.EncodeFrame(other)
		want := make([]byte, classicSize)
		theirs.MarshalBinary(want)
		var ours [fdSize]byte
		if size := encodeWire(&ours, &f); !bytes.Equal(ours[:size], want) {
			t.Fatalf("%v: % X, the library has % X", f, ours[:size], want)
		}
	})
}

func TestWireRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFrame(t)
		if f.Flags&transport.Remote == 0 && rapid.Bool().Draw(t, "fd") {
			f.Flags |= transport.FD
			f.Data = make([]byte, rapid.SampledFrom([]int{0, 1, 8, 12, 16, 20, 24, 32, 48, 64}).Draw(t, "length"))
		}
		if err := checkSendable(&f); err != nil {
			t.Fatal(err)
		}
		var b [fdSize]byte
		var got transport.Frame
		if ok := decodeWire(b[:encodeWire(&b, &f)], &got); !ok {
			t.Fatalf("%v became % X, which does not read", f, b)
		}
		if got.ID != f.ID || got.Flags != f.Flags || !bytes.Equal(got.Data, f.Data) || got.Medium != f.Medium {
			t.Fatalf("%v came back as %v", f, got)
		}
	})
}

func TestWireRefuses(t *testing.T) {
	for _, c := range []struct {
		name   string
		size   int
		length byte
	}{
		{"nothing", 0, 0}, {"a head", 8, 0}, {"one byte less", 15, 0}, {"one byte more", 17, 0},
		{"between the kinds", 71, 0}, {"beyond", 73, 0}, {"nine bytes of data", 16, 9}, {"a hostile length", 16, 255},
		{"CAN FD of 65 bytes", 72, 65}, {"CAN FD of 255 bytes", 72, 255},
	} {
		b := make([]byte, c.size)
		if c.size > lengthAt {
			b[lengthAt] = c.length
		}
		f := transport.Frame{ID: 77}
		if decodeWire(b, &f) || f.ID != 77 || f.Data != nil {
			t.Errorf("%s reads as %v", c.name, f)
		}
	}
}
