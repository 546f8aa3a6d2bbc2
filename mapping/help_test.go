package mapping_test

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"packlink/decode"
	"packlink/mapping"
	"packlink/mapping/document"
)

// fixture is a file under fixtures/mapping with what its header says of it.
type fixture struct {
	path   string
	data   []byte
	expect []string // "rule line:column" of each problem, in order
	says   []string // parts of the messages
}

// fixtures are the files of a folder under fixtures/mapping. It fails the test
// if there are none, or one lacks its header: what it shows, and for a bad file
// what to expect.
func fixtures(t testing.TB, folder string) []fixture {
	t.Helper()
	paths, _ := filepath.Glob(filepath.Join("..", "fixtures", "mapping", folder, "*.yaml"))
	if len(paths) == 0 {
		t.Fatalf("there are no files in fixtures/mapping/%s", folder)
	}
	all := make([]fixture, len(paths))
	for i, path := range paths {
		all[i] = readFixture(t, path)
		if folder == "bad" && len(all[i].expect) == 0 {
			t.Fatalf("%s: no # expect: says what is wrong", path)
		}
	}
	return all
}

func readFixture(t testing.TB, path string) fixture {
	t.Helper()
	f := fixture{path: path, data: read(t, path)}
	what := false
	for line := range strings.Lines(string(f.data)) {
		line = strings.TrimRight(line, "\r\n")
		if text, is := strings.CutPrefix(line, "# expect: "); is {
			f.expect = append(f.expect, text)
		}
		if text, is := strings.CutPrefix(line, "# says: "); is {
			f.says = append(f.says, text)
		}
		what = what || strings.HasPrefix(line, "# what: ")
	}
	if !what {
		t.Fatalf("%s: no # what: says what it shows", path)
	}
	return f
}

func read(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// lint loads a mapping and runs its examples, as "packlink mapping lint" does.
func lint(t testing.TB, name string, data []byte) (*mapping.Compiled, document.Problems) {
	t.Helper()
	m, err := mapping.Load(name, data, nil)
	if err != nil {
		var problems document.Problems
		if !errors.As(err, &problems) || len(problems) == 0 {
			t.Fatalf("%s: the error is no list of problems: %v", name, err)
		}
		return nil, problems
	}
	c, err := mapping.Compile(m)
	if err != nil {
		t.Fatalf("%s loads and does not compile: %v", name, err)
	}
	return c, decode.Verify(c, name, data)
}

// sound is a mapping that holds, from its text.
func sound(t testing.TB, text string) *mapping.Compiled {
	t.Helper()
	c, problems := lint(t, "test.yaml", []byte(text))
	if len(problems) > 0 {
		t.Fatalf("%v\n%s", problems, text)
	}
	return c
}

// corpus is every mapping file of the project: built in and fixtures.
func corpus(t testing.TB) (files [][]byte) {
	t.Helper()
	for _, pattern := range []string{"library/*.yaml", "../fixtures/mapping/bad/*.yaml", "../fixtures/mapping/good/*.yaml"} {
		paths, _ := filepath.Glob(pattern)
		if len(paths) == 0 {
			t.Fatalf("%s finds no file", pattern)
		}
		slices.Sort(paths)
		for _, path := range paths {
			files = append(files, read(t, path))
		}
	}
	return files
}
