package canbus

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"os"
	"strings"
	"testing"

	"go.uber.org/goleak"
	"pgregory.net/rapid"

	"packlink/transport"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// kindNames are the words of the vectors.
var kindNames = [...]string{"damaged", "frame", "report", "done", "refused", "sent", "text"}

// vector is one line of a file of vectors.
type vector struct {
	kind, line, gives string
}

// vectors reads the file of lines. Most must be bad.
func vectors(t testing.TB) (all []vector) {
	t.Helper()
	text, err := os.ReadFile("testdata/slcan-lines.txt")
	if err != nil {
		t.Fatal(err)
	}
	bad := 0
	for _, line := range strings.Split(string(text), "\n") {
		if strings.HasPrefix(line, "#") || line == "" {
			continue
		}
		kind, rest, _ := strings.Cut(line, " ")
		v := vector{kind: kind, line: rest}
		if kind == "frame" || kind == "report" {
			v.line, v.gives, _ = strings.Cut(rest, " ")
		}
		if kind == "damaged" {
			bad++
		}
		all = append(all, v)
	}
	if len(all) < 50 || bad*10 < len(all)*6 {
		t.Fatalf("%d vectors, %d of them bad", len(all), bad)
	}
	return all
}

func (r *record) text() string {
	switch {
	case r.kind == reportRecord:
		return fmt.Sprintf("%X %X", r.id, r.data)
	case r.kind != frameRecord:
		return ""
	}
	id, content := fmt.Sprintf("%03X", r.id), fmt.Sprintf("%X", r.data[:r.length])
	if r.flags&transport.Extended != 0 {
		id = fmt.Sprintf("%08X", r.id)
	}
	if r.flags&transport.Remote != 0 {
		content = "R"
	}
	if r.stamped {
		content += fmt.Sprintf("@%d", r.stamp)
	}
	return id + "#" + content
}

func TestLines(t *testing.T) {
	for _, v := range vectors(t) {
		r := parseLine([]byte(v.line))
		if got := kindNames[r.kind]; got != v.kind || r.text() != v.gives {
			t.Errorf("%q: %s %q, want %s %q", v.line, got, r.text(), v.kind, v.gives)
		}
	}
}

// splitAll gives the text of every record in a stream that comes in pieces.
func splitAll(pieces ...[]byte) (all []string) {
	var s splitter
	for _, piece := range pieces {
		for _, c := range piece {
			if r, ended := s.push(c); ended {
				all = append(all, kindNames[r.kind]+" "+r.text())
			}
		}
	}
	return all
}

func TestLineEnds(t *testing.T) {
	for stream, want := range map[string]string{
		"t1230\r":                             "frame 123#",
		"t1230\r\n":                           "frame 123#",
		"\r":                                  "done ",
		"\n\r":                                "done ",
		"\a":                                  "refused ",
		"t1230\a":                             "frame 123#",
		"\a\r\at1230\r":                       "refused , done , refused , frame 123#",
		"t1230":                               "",
		"t12\n30\r":                           "damaged ",
		"t1230\x00\r":                         "damaged ",
		"\x00t1230\r\xFFz\r":                  "damaged , damaged ",
		strings.Repeat("t", 65) + "\rt1230\r": "damaged , frame 123#",
		strings.Repeat("V", 64) + "\r":        "text ",
		strings.Repeat("t1230", 100000) + "\rz\r":     "damaged , sent ",
		"t12311" + strings.Repeat("\n", 70) + "\rz\r": "damaged , sent ",
	} {
		if got := strings.Join(splitAll([]byte(stream)), ", "); got != want {
			t.Errorf("%.40q: %q, want %q", stream, got, want)
		}
	}
}

// TestLinesInAnyPieces cuts a stream of good and bad lines anywhere: the records
// stay the same.
func TestLinesInAnyPieces(t *testing.T) {
	all := vectors(t)
	rapid.Check(t, func(t *rapid.T) {
		var stream []byte
		for range rapid.IntRange(1, 20).Draw(t, "lines") {
			stream = append(stream, rapid.SampledFrom(all).Draw(t, "line").line...)
			stream = append(stream, rapid.SampledFrom([]string{"\r", "\a", "\r\n"}).Draw(t, "end")...)
		}
		want := splitAll(stream)
		var pieces [][]byte
		for rest := stream; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "piece")
			pieces, rest = append(pieces, rest[:n]), rest[n:]
		}
		if got := splitAll(pieces...); strings.Join(got, ",") != strings.Join(want, ",") {
			t.Fatalf("%q in pieces %q gives %q, want %q", stream, pieces, got, want)
		}
	})
}

// TestLineRoundTrip encodes frames and reads them again.
func TestLineRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFrame(t)
		line := appendLine(nil, &f)
		r := parseLine(line[:len(line)-1])
		if r.kind != frameRecord || r.id != f.ID || r.flags != f.Flags || !bytes.Equal(r.data[:r.length], f.Data) || r.stamped {
			t.Fatalf("%v became %q, which reads as %+v", f, line, r)
		}
	})
}

func TestAppendLine(t *testing.T) {
	for want, f := range map[string]transport.Frame{
		"t1230\r":          {ID: 0x123},
		"t4563112233\r":    {ID: 0x456, Data: []byte{0x11, 0x22, 0x33}},
		"T12ABCDEF2AA55\r": {ID: 0x12ABCDEF, Flags: transport.Extended, Data: []byte{0xAA, 0x55}},
		"r1230\r":          {ID: 0x123, Flags: transport.Remote},
		"R000001230\r":     {ID: 0x123, Flags: transport.Remote | transport.Extended},
	} {
		if got := string(appendLine(nil, &f)); got != want {
			t.Errorf("%v: %q, want %q (Linux, slcan-core.c)", f, got, want)
		}
	}
}

// FuzzSlcanLine feeds any bytes: nothing may panic, and what reads as a frame is
// one that this package writes in the same way.
func FuzzSlcanLine(f *testing.F) {
	for _, v := range vectors(f) {
		f.Add([]byte(v.line + "\r"))
	}
	f.Add([]byte("\a\r\n\x00\xFF"))
	f.Add(bytes.Repeat([]byte("T1FFFFFFF8"), 50))
	f.Fuzz(func(t *testing.T, stream []byte) {
		var s splitter
		var line []byte
		for _, c := range stream {
			line = append(line, c)
			r, ended := s.push(c)
			if !ended {
				continue
			}
			if r.kind == frameRecord {
				checkFrameRecord(t, &r, bytes.TrimLeft(line, "\n"))
			}
			line = line[:0]
		}
	})
}

func checkFrameRecord(t *testing.T, r *record, line []byte) {
	f := transport.Frame{ID: r.id, Medium: transport.CAN, Flags: r.flags, Data: r.data[:r.length]}
	if err := checkSendable(&f); err != nil {
		t.Fatalf("%q reads as a frame that none is: %v", line, err)
	}
	again := appendLine(nil, &f)
	if r.flags&transport.Remote != 0 { // how much is asked for is not kept
		again[len(again)-2] = line[len(again)-2]
	}
	if !strings.EqualFold(string(again[:len(again)-1]), string(line[:len(again)-1])) {
		t.Fatalf("%q reads as %s, which is written %q", line, hex.EncodeToString(f.Data), again)
	}
}
