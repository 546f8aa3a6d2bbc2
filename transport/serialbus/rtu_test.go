package serialbus

import (
	"bytes"
	"testing"

	"pgregory.net/rapid"
)

// TestCRC has published check values: MODBUS over Serial Line V1.02, section 6.2.2
// (figure 30: the frame 02 07 has the CRC 1241 hex), and the catalogue of
// parametrised CRC algorithms, CRC-16/MODBUS (check 4B37 for "123456789").
func TestCRC(t *testing.T) {
	if got := crc16([]byte{0x02, 0x07}); got != 0x1241 {
		t.Errorf("02 07: got %04X, want 1241", got)
	}
	if got := crc16([]byte("123456789")); got != 0x4B37 {
		t.Errorf("123456789: got %04X, want 4B37", got)
	}
}

// TestStandardExamples has the examples of MODBUS Application Protocol V1.1b3,
// sections 6.1 to 6.17 and 7, as RTU frames of unit 11 hex; the checksums were
// computed for these tests' collection and read back with tshark 4.0.17.
func TestStandardExamples(t *testing.T) {
	for _, c := range []struct {
		frame string
		want  segment
	}{
		{"1101001300138E92", segment{shape: request, size: 8, unit: 0x11, function: 1}},
		{"1103006B00037687", segment{shape: request, size: 8, unit: 0x11, function: 3}},
		{"110400080001B298", segment{shape: request, size: 8, unit: 0x11, function: 4}},
		{"1105 00ACFF00 4E8B", segment{shape: request, size: 8, unit: 0x11, function: 5}},
		{"1106000100039A9B", segment{shape: request, size: 8, unit: 0x11, function: 6}},
		{"110F0013000A02CD01BF0B", segment{shape: request, size: 11, unit: 0x11, function: 0x0F}},
		{"11100001000204000A0102C6F0", segment{shape: request, size: 13, unit: 0x11, function: 0x10}},
		{"111700030006000E00030600FF00FF00FF4B54", segment{shape: request, size: 19, unit: 0x11, function: 0x17}},
		{"110104A10001AF88", segment{shape: request, size: 8, unit: 0x11, function: 1}},
	} {
		frame := unhex(t, c.frame)
		if got, is := whole(frame); !is || got != c.want {
			t.Errorf("% X: got %+v, %v; want %+v", frame, got, is, c.want)
		}
		frame[len(frame)-1] ^= 1
		if got, is := whole(frame); is {
			t.Errorf("% X with a wrong CRC: got %+v", frame, got)
		}
	}
}

// The answers of the same sections, whose RTU checksum the packaging library adds.
func TestStandardAnswers(t *testing.T) {
	for _, c := range []struct {
		body string
		want segment
	}{
		{"11 0103CD6B05", segment{shape: answer, size: 8, unit: 0x11, function: 1, values: 3}},
		{"11 0306022B00000064", segment{shape: answer, size: 11, unit: 0x11, function: 3, values: 6}},
		{"11 0402000A", segment{shape: answer, size: 7, unit: 0x11, function: 4, values: 2}},
		{"11 8102", segment{shape: exception, size: 5, unit: 0x11, function: 1, code: 2}},
		{"11 170C00FE0ACD00010003000D00FF", segment{shape: answer, size: 17, unit: 0x11, function: 0x17, values: 12}},
		{"11 1000010002", segment{shape: request, size: 8, unit: 0x11, function: 0x10}},
	} {
		frame := withCRC(unhex(t, c.body)...)
		if got, is := whole(frame); !is || got != c.want {
			t.Errorf("% X: got %+v, %v; want %+v", frame, got, is, c.want)
		}
	}
}

// TestFirstLosesNothing cuts anything at all into runs and finds every byte again.
func TestFirstLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		heard := drawTraffic(t)
		checkRuns(t, heard, drawQuestion(t))
	})
}

func drawQuestion(t *rapid.T) *question {
	return &question{unit: rapid.Byte().Draw(t, "unit"), function: 3, count: rapid.IntRange(1, 125).Draw(t, "count")}
}

// drawTraffic is frames, cut frames and noise, one behind the other.
func drawTraffic(t *rapid.T) (heard []byte) {
	for range rapid.IntRange(0, 5).Draw(t, "runs") {
		frame := answerTo([]byte{rapid.Byte().Draw(t, "of"), 3, 0, rapid.Byte().Draw(t, "from"), 0, byte(rapid.IntRange(1, 125).Draw(t, "n"))})
		switch rapid.IntRange(0, 3).Draw(t, "what") {
		case 0:
			frame = frame[:rapid.IntRange(0, len(frame)).Draw(t, "cut")]
		case 1:
			frame[rapid.IntRange(0, len(frame)-1).Draw(t, "at")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		case 2:
			frame = rapid.SliceOfN(rapid.Byte(), 0, 40).Draw(t, "noise")
		}
		heard = append(heard, frame...)
	}
	return heard
}

type failer interface{ Fatalf(string, ...any) }

func checkRuns(t failer, heard []byte, q *question) {
	for at := 0; at < len(heard); {
		s := first(heard[at:], q)
		if s.size < 1 || at+s.size > len(heard) {
			t.Fatalf("a run of %d bytes at %d of %d", s.size, at, len(heard))
		}
		run := heard[at : at+s.size]
		isSound := crc16(run[:max(len(run)-2, 0)]) == 0xFFFF || len(run) > 3 && sound(run, len(run))
		if wantsCRC := s.shape == request || s.shape == answer || s.shape == exception; wantsCRC && !isSound {
			t.Fatalf("% X was taken for a message", run)
		}
		at += s.size
	}
}

// TestFindAnswerInNoise finds the one answer wherever it stands, and it only.
func TestFindAnswerInNoise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.IntRange(1, 125).Draw(t, "count")
		q := &question{unit: 7, function: 4, count: count}
		frame := answerTo([]byte{7, 4, 0, 9, 0, byte(count)})
		before := rapid.SliceOfN(rapid.Byte(), 0, 60).Draw(t, "before")
		after := rapid.SliceOfN(rapid.Byte(), 0, 60).Draw(t, "after")
		at, s, found := q.find(bytes.Join([][]byte{before, frame, after}, nil))
		if !found || at > len(before) || at == len(before) && s.size != len(frame) {
			t.Fatalf("found %v at %d, %+v; want it at %d", found, at, s, len(before))
		}
		bit := rapid.IntRange(0, 8*len(frame)-1).Draw(t, "bit")
		frame[bit/8] ^= 1 << (bit % 8)
		if at, s, found := q.find(frame); found {
			t.Fatalf("found %+v at %d in % X, which has a wrong bit", s, at, frame)
		}
	})
}

func FuzzSort(f *testing.F) {
	f.Add([]byte{}, byte(1), byte(1))
	f.Add([]byte{0x11, 0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64, 0xC8, 0xBA}, byte(0x11), byte(3))
	f.Add([]byte{0x11, 0x83, 0x02}, byte(0x11), byte(3))
	f.Add([]byte{0x11, 0x10, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}, byte(0x11), byte(125))
	f.Add(bytes.Repeat([]byte{1, 3, 250}, 200), byte(1), byte(125))
	f.Fuzz(func(t *testing.T, heard []byte, unit, count byte) {
		heard = heard[:min(len(heard), heardLength)]
		q := &question{unit: unit, function: 3, count: int(count)}
		checkRuns(t, heard, q)
		checkRuns(t, heard, nil)
		if at, s, found := q.find(heard); found && (!q.matches(s) || !sound(heard[at:], s.size)) {
			t.Fatalf("% X holds %+v at %d, which is no answer", heard, s, at)
		}
		q.ruined(heard)
	})
}

func BenchmarkFindAnswer(b *testing.B) {
	q := &question{unit: 1, function: 3, count: 40}
	frame := answerTo([]byte{1, 3, 0, 0, 0, 40})
	b.ReportAllocs()
	for b.Loop() {
		if _, _, found := q.find(frame); !found {
			b.Fatal("not found")
		}
	}
}
