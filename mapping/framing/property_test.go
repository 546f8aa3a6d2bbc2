package framing

import (
	"bytes"
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func drawFormat(t *rapid.T) *Format {
	name := rapid.SampledFrom(slices.Sorted(maps.Keys(layouts))).Draw(t, "layout")
	return layouts[name].Compile()
}

// likely are bytes that mean something to some layout, so that the odd case is
// drawn often.
var likely = []byte{0xDD, 0x77, 0x55, 0xAA, 0x7E, 0x7D, 0x5E, 0x5D, 0xF0, 0xF1, 0xF2, 0, 1, 2, '(', ')', '~', ':', '\r', '\n', '0', 'A', 'a'}

func drawBytes(least, most int) *rapid.Generator[[]byte] {
	return rapid.SliceOfN(rapid.OneOf(rapid.Byte(), rapid.SampledFrom(likely)), least, most)
}

// drawFrame draws a frame: its data, and how it is sent.
func drawFrame(t *rapid.T, f *Format) (values [MaxParts]uint64, data, sent []byte) {
	d := f.DataPart()
	for i := range f.Parts {
		if p := &f.Parts[i]; p.Role == Value {
			values[i] = rapid.Uint64Range(0, 1<<(8*p.Size)-1).Draw(t, "value")
		}
	}
	data = drawBytes(d.Least, min(d.Most, 80)).Draw(t, "data")
	if f.length >= 0 && f.Parts[f.length].Halves == 4 && (len(data)+f.around(&f.Parts[f.length]))%2 != 0 {
		data = append(data, 0)
	}
	sent, err := f.Append(nil, &values, data)
	if err != nil {
		t.Fatal(err)
	}
	return values, data, sent
}

// TestFoundAsBuilt builds frames behind one another and finds them, each at its
// last byte.
func TestFoundAsBuilt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFormat(t)
		s := f.NewFinder()
		for range rapid.IntRange(1, 4).Draw(t, "frames") {
			values, data, sent := drawFrame(t, f)
			for i, b := range sent {
				frame, found := s.Feed(b)
				if found != (i == len(sent)-1) {
					t.Fatalf("% X: found at byte %d of %d: %t", sent, i+1, len(sent), found)
				}
				if !found {
					continue
				}
				if again := f.Sent(frame); !bytes.Equal(again, sent) {
					t.Fatalf("% X is found, and is sent as % X", sent, again)
				}
				var got [MaxParts]uint64
				f.Values(frame, &got)
				if got != values || !bytes.Equal(f.Data(frame), data) {
					t.Fatalf("built from %X and % X, read as %X and % X", values, data, got, f.Data(frame))
				}
			}
		}
		if s.Counts() != (Counts{}) {
			t.Errorf("sound frames count as %+v", s.Counts())
		}
	})
}

// TestFoundBehindAnything puts noise before a frame, and beginnings of frames that
// come to nothing: it is found at its last byte all the same.
func TestFoundBehindAnything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFormat(t)
		s := f.NewFinder()
		_, _, other := drawFrame(t, f)
		torn := other[:rapid.IntRange(0, len(other)-1).Draw(t, "torn")]
		before := append(append(drawBytes(0, 40).Draw(t, "noise"), torn...), drawBytes(0, 10).Draw(t, "more")...)
		for _, b := range before {
			s.Feed(b)
		}
		_, data, sent := drawFrame(t, f)
		for i, b := range sent {
			frame, found := s.Feed(b)
			if i == 0 && found && f.Coding == Escaped {
				continue // the flag has ended the torn frame before
			}
			if last := i == len(sent)-1; found != last || last && !bytes.Equal(f.Data(frame), data) {
				t.Fatalf("% X behind % X: at byte %d of %d: %t", sent, before, i+1, len(sent), found)
			}
		}
	})
}

// TestDamageIsSeen changes bits of a frame: what is found then, if anything, is
// no frame with other data.
func TestDamageIsSeen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := layouts[rapid.SampledFrom([]string{"counted", "fixed", "open", "flags", "start and end escaped"}).Draw(t, "layout")].Compile()
		_, data, sent := drawFrame(t, f)
		bent := slices.Clone(sent)
		bent[rapid.IntRange(0, len(bent)-1).Draw(t, "at")] ^= byte(rapid.IntRange(1, 255).Draw(t, "bits"))
		frames, counts := heard(f, bent)
		for _, frame := range frames {
			if !bytes.Equal(f.Data(frame), data) {
				t.Errorf("% X is read from % X, which was % X", frame, bent, sent)
			}
		}
		if len(frames) == 0 && counts == (Counts{}) {
			t.Errorf("% X leaves no trace", bent)
		}
	})
}

// FuzzFinder feeds any bytes to every layout. What is found is what its data and
// values are built as, and no more is kept than the longest frame.
func FuzzFinder(f *testing.F) {
	formats := map[string]*Format{}
	for name, l := range layouts {
		format := l.Compile()
		formats[name] = format
		var values [MaxParts]uint64
		sent, err := format.Append(nil, &values, make([]byte, 8))
		if err != nil {
			sent, _ = format.Append(nil, &values, make([]byte, 7))
		}
		f.Add(sent)
		f.Add(append(sent[:len(sent)/2:len(sent)/2], sent...))
		f.Add(bytes.Repeat(sent[:1], 20))
	}
	f.Add([]byte("~1203400456ABCDFEFC72\r"))
	f.Add([]byte{0xDD, 3, 0xFF, 0, 0xDD, 3, 0, 0x77})
	f.Fuzz(func(t *testing.T, data []byte) {
		for name, format := range formats {
			s := format.NewFinder()
			sent := 0
			for i, b := range data {
				frame, found := s.Feed(b)
				if len(s.bytes) > format.longest || len(s.starts) > len(s.bytes) {
					t.Fatalf("%s: %d bytes and %d beginnings are kept", name, len(s.bytes), len(s.starts))
				}
				if !found {
					continue
				}
				var values [MaxParts]uint64
				format.Values(frame, &values)
				built, err := format.Append(nil, &values, format.Data(frame))
				if err != nil || !bytes.HasSuffix(data[:i+1], built) {
					t.Fatalf("%s: % X is built as % X, %v", name, frame, built, err)
				}
				sent += len(built)
			}
			s.Lost()
			if c := s.Counts(); c.Noise > uint64(len(data)-sent)+uint64(len(data)) {
				t.Errorf("%s: %+v of %d bytes", name, c, len(data))
			}
		}
	})
}
