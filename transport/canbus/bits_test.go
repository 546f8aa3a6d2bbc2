package canbus

import (
	"encoding/hex"
	"encoding/json"
	"os"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"packlink/fixtures/beside"
	"packlink/transport"
)

// published are exact frame lengths that were computed independently of this
// package (STANDARDS.md, 5.1, "Exact examples", tagged computed: by a routine that
// agrees with the exact mode of can-utils' canframelen.c on 20,000 frames).
var published = []struct {
	id       uint32
	extended bool
	data     string
	stuff    int
	crc      uint16
	bits     int
}{
	{0x123, false, "1122334455667788", 1, 0x4237, 112},
	{0x123, false, "", 1, 0x6858, 48},
	{0x0, false, "0000000000000000", 16, 0x145B, 127},
	{0x7FF, false, "FFFFFFFFFFFFFFFF", 15, 0x4C89, 126},
	{0x555, false, "AAAAAAAAAAAAAAAA", 1, 0x7DCE, 112},
	{0x18FEF7F3, true, "FFFFFFFFFFFF1C04", 12, 0x644D, 143},
	{0x19FFFD46, true, "0178A805E0C59477", 8, 0x309F, 139},
	{0x78, false, "3C3C3C3C3C3C3C3C", 20, 0x1921, 131},
}

func TestFrameBitsPublished(t *testing.T) {
	for _, c := range published {
		f := canFrame(t, c.id, c.extended, c.data)
		var content [stuffedBytes]byte
		n := layOut(&content, &f)
		if crc := crc15(content[:n-2]); crc != c.crc {
			t.Errorf("%X#%s: CRC %#x, want %#x", c.id, c.data, crc, c.crc)
		}
		if stuff := stuffBits(content[:n], &f); stuff != c.stuff {
			t.Errorf("%X#%s: %d stuff bits, want %d", c.id, c.data, stuff, c.stuff)
		}
		if bits, ok := FrameBits(&f); bits != c.bits || !ok {
			t.Errorf("%X#%s: %d bits, %t, want %d", c.id, c.data, bits, ok, c.bits)
		}
	}
}

func canFrame(t testing.TB, id uint32, extended bool, data string) transport.Frame {
	t.Helper()
	b, err := hex.DecodeString(data)
	if err != nil {
		t.Fatal(err)
	}
	f := transport.Frame{ID: id, Medium: transport.CAN, Data: b}
	if extended {
		f.Flags = transport.Extended
	}
	return f
}

// TestFrameBitsShared reads the table that is kept outside the project.
func TestFrameBitsShared(t *testing.T) {
	text, err := os.ReadFile("../../../shared/standards/vectors/can_bits.json")
	if err != nil {
		beside.Missing(t, "the shared vectors are not here: ", err)
	}
	var table struct {
		Examples []struct {
			ID       string `json:"id"`
			Extended bool   `json:"eff"`
			Data     string `json:"data"`
			Bits     int    `json:"total_bits_incl_IFS"`
		} `json:"exact_examples"`
		Lengths []struct {
			IDBits int `json:"id_bits"`
			Bytes  int `json:"data_bytes"`
			Least  int `json:"bits_min_no_stuff_incl_3_IFS"`
			Most   int `json:"bits_worst_case"`
		} `json:"table"`
	}
	if err := json.Unmarshal(text, &table); err != nil || len(table.Examples) == 0 || len(table.Lengths) == 0 {
		t.Fatalf("%d examples, %d lengths, %v", len(table.Examples), len(table.Lengths), err)
	}
	for _, c := range table.Examples {
		id, err := strconv.ParseUint(c.ID, 16, 32)
		if err != nil {
			t.Fatal(err)
		}
		f := canFrame(t, uint32(id), c.Extended, c.Data)
		if bits, _ := FrameBits(&f); bits != c.Bits {
			t.Errorf("%s#%s: %d bits, want %d", c.ID, c.Data, bits, c.Bits)
		}
	}
	for _, c := range table.Lengths {
		if least, most := boundsOf(c.IDBits == 29, c.Bytes); least != c.Least || most != c.Most {
			t.Errorf("%d-bit id, %d bytes: %d to %d bits, want %d to %d", c.IDBits, c.Bytes, least, most, c.Least, c.Most)
		}
	}
}

// boundsOf are the least and the most bits of a frame (Davis, Burns, Bril,
// Lukkien, "Controller Area Network (CAN) schedulability analysis: Refuted,
// revisited and revised", Real-Time Systems 35, 2007; STANDARDS.md, 5.1).
func boundsOf(extended bool, bytes int) (least, most int) {
	if extended {
		return 67 + 8*bytes, 80 + 10*bytes
	}
	return 47 + 8*bytes, 55 + 10*bytes
}

// TestFrameBitsProperty holds the table-driven length to a count bit by bit, and
// both to the published bounds.
func TestFrameBitsProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFrame(t)
		got, ok := FrameBits(&f)
		least, most := boundsOf(f.Flags&transport.Extended != 0, len(f.Data))
		if want := countBits(&f); got != want || !ok || got < least || got > most {
			t.Fatalf("%v: %d bits, %t, want %d, between %d and %d", f, got, ok, want, least, most)
		}
	})
}

// drawFrame draws a classic CAN frame.
func drawFrame(t *rapid.T) transport.Frame {
	f := transport.Frame{Medium: transport.CAN, ID: rapid.Uint32Max(0x7FF).Draw(t, "id"), Direction: transport.Received, Data: []byte{}}
	if rapid.Bool().Draw(t, "extended") {
		f.Flags, f.ID = transport.Extended, rapid.Uint32Max(0x1FFFFFFF).Draw(t, "long id")
	}
	if rapid.Bool().Draw(t, "remote") {
		f.Flags |= transport.Remote
		return f
	}
	f.Data = rapid.SliceOfN(rapid.Byte(), 0, 8).Draw(t, "data")
	return f
}

// countBits counts a frame's bits one after another.
func countBits(f *transport.Frame) int {
	bits := plainBits(f)
	crc := 0
	for _, bit := range bits {
		next := bit ^ crc>>14&1
		crc = crc << 1 & 0x7FFF
		if next == 1 {
			crc ^= 0x4599
		}
	}
	bits = appendBits(bits, uint64(crc), 15)
	n, last, equal := 0, -1, 0
	for _, bit := range bits {
		if bit == last {
			equal++
		} else {
			last, equal = bit, 1
		}
		n++
		if equal == 5 {
			n++
			last, equal = 1-bit, 1
		}
	}
	return n + 13
}

func plainBits(f *transport.Frame) (bits []int) {
	remote := uint64(0)
	if f.Flags&transport.Remote != 0 {
		remote = 1
	}
	bits = appendBits(bits, 0, 1)
	if f.Flags&transport.Extended != 0 {
		bits = appendBits(bits, uint64(f.ID>>18), 11)
		bits = appendBits(bits, 3, 2)
		bits = appendBits(bits, uint64(f.ID), 18)
		bits = appendBits(bits, remote, 1)
		bits = appendBits(bits, 0, 2)
	} else {
		bits = appendBits(bits, uint64(f.ID), 11)
		bits = appendBits(bits, remote, 1)
		bits = appendBits(bits, 0, 2)
	}
	bits = appendBits(bits, uint64(len(f.Data)), 4)
	for _, value := range f.Data {
		bits = appendBits(bits, uint64(value), 8)
	}
	return bits
}

func appendBits(bits []int, value uint64, n int) []int {
	for n--; n >= 0; n-- {
		bits = append(bits, int(value>>n&1))
	}
	return bits
}

func TestFrameBitsOfWhatHasNoLength(t *testing.T) {
	for _, f := range []transport.Frame{
		{Flags: transport.FD, Data: make([]byte, 12)},
		{Flags: transport.BusError, ID: 0x20, Data: make([]byte, 8)},
		{Data: make([]byte, 9)},
	} {
		if bits, ok := FrameBits(&f); ok || bits != 0 {
			t.Errorf("%v: %d bits, %t", f, bits, ok)
		}
	}
}

func BenchmarkFrameBits(b *testing.B) {
	f := transport.Frame{ID: 0x351, Data: []byte{1, 2, 3, 4, 5, 6, 7, 8}}
	b.ReportAllocs()
	for b.Loop() {
		FrameBits(&f)
	}
}
