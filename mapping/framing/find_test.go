package framing

import (
	"slices"
	"testing"
)

func build(t testing.TB, f *Format, kind uint64, data ...byte) []byte {
	t.Helper()
	sent, err := f.Append(nil, &[MaxParts]uint64{1: kind}, data)
	if err != nil {
		t.Fatal(err)
	}
	return sent
}

// TestTrouble puts each kind of trouble on the line and wants it told apart.
func TestTrouble(t *testing.T) {
	counted, open, flags, hex := layouts["counted"].Compile(), layouts["open"].Compile(), layouts["flags"].Compile(), telecom().Compile()
	good := build(t, counted, 3, 1, 2, 3)
	long := build(t, counted, 3, make([]byte, 40)...)
	bent := slices.Clone(good)
	bent[4] ^= 0x10
	endless := slices.Clone(good)
	endless[len(endless)-1] = 0x78
	impossible := slices.Clone(good)
	impossible[2] = 41
	flag := build(t, flags, 3, 0x7E, 0x7D)
	text := build(t, hex, 0x21, 1)
	bracket := build(t, open, 1, ')', ')')
	spoilt := slices.Clone(bracket)
	spoilt[1] ^= 4
	fullest := build(t, open, 1, make([]byte, 60)...) // of 67 bytes
	bad := slices.Clone(fullest)
	bad[1] ^= 4
	for name, c := range map[string]struct {
		format *Format
		sent   []byte
		frames int
		want   Counts
	}{
		"in order":                       {counted, slices.Concat(good, good), 2, Counts{}},
		"noise before":                   {counted, slices.Concat([]byte{1, 2, 3}, good), 1, Counts{Noise: 3}},
		"wrong check value":              {counted, slices.Concat(bent, good), 1, Counts{BadChecksum: 1}},
		"wrong end":                      {counted, slices.Concat(endless, good), 1, Counts{BadLength: 1}},
		"impossible length":              {counted, slices.Concat(impossible[:3], good), 1, Counts{BadLength: 1}},
		"torn":                           {counted, slices.Concat(long[:6], good), 1, Counts{Half: 1}},
		"a byte is missing":              {counted, slices.Concat(good[:5], good[6:], good), 1, Counts{BadLength: 1}},
		"torn in the head":               {counted, slices.Concat(good[:1], []byte{0xFF}, good), 1, Counts{BadLength: 1}},
		"start byte, then the end":       {counted, []byte{0xDD, 3}, 0, Counts{Noise: 2}},
		"start bytes, a possible length": {counted, slices.Concat([]byte{0xDD, 3, 20}, good, good), 2, Counts{Half: 1}},
		"flags between":                  {flags, slices.Concat([]byte{0x7E, 0x7E}, flag, []byte{0x7E, 0x7E}, flag), 2, Counts{}},
		"one flag between":               {flags, slices.Concat(flag, flag[1:]), 2, Counts{}},
		"escape before a flag":           {flags, slices.Concat([]byte{0x7E, 3, 0x7D}, flag), 1, Counts{BadLength: 1}},
		"unknown escape":                 {flags, slices.Concat([]byte{0x7E, 3, 0x7D, 0x5F, 1, 2, 3, 4}, flag), 1, Counts{BadLength: 1}},
		"small digits":                   {hex, slices.Concat([]byte("~2a"), text), 1, Counts{Half: 1, Noise: 0}},
		"odd digits":                     {hex, slices.Concat([]byte("~2101464F0000FD9\r"), text), 1, Counts{BadLength: 1}},
		"wrong guard":                    {hex, slices.Concat([]byte("~2101464F1000FD97\r"), text), 1, Counts{BadLength: 1}},
		"wrong sum":                      {hex, slices.Concat([]byte("~2101464F0000FD99\r"), text), 1, Counts{BadChecksum: 1}},
		"started anew":                   {hex, slices.Concat([]byte("~210146"), text), 1, Counts{Half: 1}},
		"end inside the data":            {open, slices.Concat(bracket, bracket), 2, Counts{}},
		"spoilt, end inside the data":    {open, slices.Concat(spoilt, bracket), 1, Counts{BadChecksum: 1}},
		"as long as may be":              {open, slices.Concat(fullest, bracket), 2, Counts{}},
		"spoilt, as long as may be":      {open, slices.Concat(bad, bracket), 1, Counts{BadChecksum: 1}},
		"no end":                         {open, slices.Concat([]byte{'('}, make([]byte, 80), bracket), 1, Counts{Half: 1, Noise: 14}},
	} {
		frames, counts := heard(c.format, c.sent)
		if len(frames) != c.frames || counts != c.want {
			t.Errorf("%s: %d frames and %+v, want %d and %+v", name, len(frames), counts, c.frames, c.want)
		}
	}
}

// TestBuildRefuses holds that what a frame cannot say is not sent.
func TestBuildRefuses(t *testing.T) {
	for name, data := range map[string][]byte{
		"counted":                          make([]byte, 41),
		"fixed":                            make([]byte, 7),
		"open":                             nil,
		"counted in words, from elsewhere": {1},
	} {
		kept := []byte{1, 2, 3}
		b, err := layouts[name].Compile().Append(kept, &[MaxParts]uint64{}, data)
		if err == nil || len(b) != len(kept) {
			t.Errorf("%s: %d bytes of data are sent as % X", name, len(data), b)
		}
	}
}

// TestFindingAllocatesNothing holds it for every layout, once the scratch has
// grown.
func TestFindingAllocatesNothing(t *testing.T) {
	for name, l := range layouts {
		f := l.Compile()
		s := f.NewFinder()
		sent, err := f.Append([]byte{0xDD, 3, 20}, &[MaxParts]uint64{}, make([]byte, 8))
		if err != nil {
			sent, _ = f.Append(nil, &[MaxParts]uint64{}, make([]byte, 7))
		}
		feed := func() {
			for _, b := range sent {
				s.Feed(b)
			}
		}
		feed()
		if n := testing.AllocsPerRun(100, feed); n != 0 {
			t.Errorf("%s: %v allocations a frame", name, n)
		}
	}
}

func BenchmarkFind(b *testing.B) {
	for name, l := range layouts {
		f := l.Compile()
		sent, err := f.Append(nil, &[MaxParts]uint64{}, make([]byte, 8))
		if err != nil {
			sent, _ = f.Append(nil, &[MaxParts]uint64{}, make([]byte, 7))
		}
		b.Run(name, func(b *testing.B) {
			s := f.NewFinder()
			b.SetBytes(int64(len(sent)))
			for b.Loop() {
				for _, c := range sent {
					s.Feed(c)
				}
			}
		})
	}
}

// BenchmarkHostile is a line of beginnings only.
func BenchmarkHostile(b *testing.B) {
	for name, l := range layouts {
		f := l.Compile()
		first := byte(1)
		if p := f.Parts[0]; p.Role == Constant {
			first = p.Bytes[0]
		}
		b.Run(name, func(b *testing.B) {
			s := f.NewFinder()
			b.SetBytes(1)
			for b.Loop() {
				s.Feed(first)
			}
		})
	}
}
