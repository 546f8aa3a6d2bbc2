package capture

import (
	"bytes"
	"encoding/hex"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
)

// vector is one file of fixtures/capture: header lines, an empty line, and the
// bytes of a capture as hexadecimal pairs and quoted text. # begins a comment.
//
//	what: what the capture is
//	expect: ok | torn | the kind of the error that it ends with, or of the first one
//	frames: how many frames come
//	frame: one of them, as the function text writes it; all or none are listed
//	skipped: how many packets give no frame; 0 when absent
//	says: a part of the error's text
//	unlike: why tshark, which is asked about the good ones, reads it differently
type vector struct {
	name   string
	header map[string]string
	frames []string
	data   []byte
}

func (v vector) number(t *testing.T, key string) int {
	t.Helper()
	n, err := strconv.Atoi(v.header[key])
	if err != nil && v.header[key] != "" {
		t.Fatalf("%s: %s: %v", v.name, key, err)
	}
	return n
}

// vectors are all files of fixtures/capture. It fails when there are none.
func vectors(t testing.TB) []vector {
	t.Helper()
	paths, err := filepath.Glob("../../fixtures/capture/*.txt")
	if err != nil || len(paths) == 0 {
		t.Fatalf("no vectors in fixtures/capture (%v)", err)
	}
	var all []vector
	for _, path := range paths {
		all = append(all, readVector(t, path))
	}
	return all
}

func readVector(t testing.TB, path string) vector {
	t.Helper()
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	head, body, _ := strings.Cut(string(content), "\n\n")
	v := vector{name: filepath.Base(path), header: map[string]string{}}
	for line := range strings.Lines(head) {
		key, value, found := strings.Cut(strings.TrimSpace(line), ": ")
		if !found || key != "frame" && v.header[key] != "" {
			t.Fatalf("%s: header line %q", v.name, line)
		}
		v.header[key] = value
		if key == "frame" {
			v.frames = append(v.frames, value)
		}
	}
	for line := range strings.Lines(body) {
		v.data = append(v.data, lineBytes(t, v.name, strings.TrimSpace(line))...)
	}
	return v
}

// lineBytes reads a line of a vector: quoted text, or hexadecimal pairs and a
// comment.
func lineBytes(t testing.TB, name, line string) []byte {
	t.Helper()
	if strings.HasPrefix(line, `"`) {
		plain, err := strconv.Unquote(line)
		if err != nil {
			t.Fatalf("%s: line %s: %v", name, line, err)
		}
		return []byte(plain)
	}
	pairs, _, _ := strings.Cut(line, "#")
	data, err := hex.DecodeString(strings.Join(strings.Fields(pairs), ""))
	if err != nil {
		t.Fatalf("%s: line %q: %v", name, line, err)
	}
	return data
}

func TestVectors(t *testing.T) {
	for _, v := range vectors(t) {
		t.Run(v.name, func(t *testing.T) {
			got := readAll(t, bytes.NewReader(v.data))
			checkVector(t, v, got)
			if diff := cmp.Diff(got, readAll(t, iotest.OneByteReader(bytes.NewReader(v.data)))); diff != "" {
				t.Errorf("read byte by byte it is different:\n%s", diff)
			}
			if diff := cmp.Diff(got, readAll(t, iotest.DataErrReader(bytes.NewReader(v.data)))); diff != "" {
				t.Errorf("read with io.EOF on the last bytes it is different:\n%s", diff)
			}
		})
	}
}

func checkVector(t *testing.T, v vector, got reading) {
	t.Helper()
	outcome := "ok"
	if got.Left > 0 {
		outcome = "torn"
	}
	if len(got.Faults) > 0 {
		outcome, _, _ = strings.Cut(got.Faults[0], ":")
	}
	if outcome != v.header["expect"] {
		t.Errorf("expected %q, got %q %v", v.header["expect"], outcome, got.Faults)
	}
	if n := v.number(t, "frames"); len(got.Frames) != n {
		t.Errorf("expected %d frames, got %q", n, got.Frames)
	}
	if v.frames != nil && !cmp.Equal(v.frames, got.Frames) {
		t.Errorf("the frames differ:\n%s", cmp.Diff(v.frames, got.Frames))
	}
	if says := v.header["says"]; !strings.Contains(strings.Join(got.Faults, "\n"), says) {
		t.Errorf("expected an error that says %q, got %q", says, got.Faults)
	}
	skipped := int64(0)
	for _, i := range got.Interfaces {
		skipped += i.Skipped
	}
	if n := v.number(t, "skipped"); skipped != int64(n) {
		t.Errorf("expected %d packets skipped, got %d", n, skipped)
	}
}

// TestVectorsAreMostlyBad keeps the share of bad input at 60 % or more.
func TestVectorsAreMostlyBad(t *testing.T) {
	all, bad := vectors(t), 0
	for _, v := range all {
		if v.header["expect"] != "ok" {
			bad++
		}
	}
	if bad*10 < len(all)*6 {
		t.Errorf("%d of %d vectors are bad input, expected at least 60 %%", bad, len(all))
	}
}

// TestEveryKindOfErrorHasAVector finds kinds that no vector shows.
func TestEveryKindOfErrorHasAVector(t *testing.T) {
	shown := map[string]bool{}
	for _, v := range vectors(t) {
		shown[v.header["expect"]] = true
	}
	for _, kind := range []Kind{KindEmpty, KindClassicPcap, KindUnknownFormat, KindByteOrder, KindVersion, KindBlockLength,
		KindTrailingLength, KindCapturedLength, KindOversize, KindInterface, KindDescription, KindOption, KindTime, KindNoTime, KindFrame, KindLine} {
		if !shown[string(kind)] {
			t.Errorf("no vector expects %q", kind)
		}
	}
}
