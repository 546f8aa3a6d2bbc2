package scenario

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"packlink/mapping/document"

	"github.com/google/go-cmp/cmp"
)

const badFiles = "../../../fixtures/scenario/bad/*.yaml"

// fixtures are the bad files with their content.
func fixtures(t testing.TB) map[string][]byte {
	t.Helper()
	paths, err := filepath.Glob(badFiles)
	if err != nil || len(paths) == 0 {
		t.Fatalf("no file is like %s: %v", badFiles, err)
	}
	files := make(map[string][]byte)
	for _, path := range paths {
		if files[filepath.Base(path)], err = os.ReadFile(path); err != nil {
			t.Fatal(err)
		}
	}
	return files
}

// TestBadFiles holds every bad file against its header: each problem by its rule
// and place, and its name against the first rule.
func TestBadFiles(t *testing.T) {
	for name, data := range fixtures(t) {
		var want, got []string
		for line := range bytes.Lines(data) {
			if text, is := bytes.CutPrefix(line, []byte("# expect: ")); is {
				want = append(want, strings.TrimSpace(string(text)))
			}
		}
		_, err := Read(name, data)
		var problems document.Problems
		if !errors.As(err, &problems) {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for _, p := range problems {
			got = append(got, fmt.Sprintf("%s %d:%d", p.Rule, p.Line, p.Column))
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s: expected (-), reported (+):\n%s%v", name, diff, problems)
		}
		if rule, _, _ := strings.Cut(strings.Join(got, " "), " "); !strings.HasPrefix(name, rule+"-") {
			t.Errorf("%s breaks %s first", name, rule)
		}
	}
}

// TestProblemsShowTheirPlace shows a mistake as a person sees it.
func TestProblemsShowTheirPlace(t *testing.T) {
	_, err := Read("mine.yaml", fixtures(t)["range-soc.yaml"])
	want := `mine.yaml:6:48: "soc_pct" must lie between 0 and 100; this is 101 [range]
  | packs: [{cells: 16, capacity_ah: 100, soc_pct: 101}]
  |                                                ^`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}

// FuzzRead reads any text as a scenario. What is read can be simulated.
func FuzzRead(f *testing.F) {
	for _, data := range fixtures(f) {
		f.Add(data)
	}
	for _, name := range Names() {
		data, err := files.ReadFile(name + ".yaml")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := Read("fuzz.yaml", data)
		if err != nil {
			return
		}
		simulate(t, s, 3)
	})
}
