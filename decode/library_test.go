package decode

import (
	"os"
	"path/filepath"
	"testing"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/library"
)

func TestLibraryExamples(t *testing.T) {
	files, _ := filepath.Glob("../mapping/library/*.yaml")
	if len(files) == 0 {
		t.Fatal("no library files found")
	}
	for _, path := range files {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		m, err := mapping.Load(path, data, nil)
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		c, err := mapping.Compile(m)
		if err != nil {
			t.Fatal(err)
		}
		if err := Verify(c, path, data).Err(); err != nil {
			t.Errorf("%v", err)
		}
	}
}

// TestHomebrewSaysWhatIsNotKnown writes the layouts for boards of one's own for a
// pack of which nothing is known: each message can say so, as a board that lacks one
// value would else have to leave out the others, or make one up.
func TestHomebrewSaysWhatIsNotKnown(t *testing.T) {
	for _, name := range []string{"homebrew-can", "homebrew-modbus"} {
		c, err := library.Compile(name)
		if err != nil {
			t.Fatal(err)
		}
		for i := range c.Programs {
			if _, err := Payload(&c.Programs[i], &pack.Status{}); err != nil {
				t.Errorf("%s: message %q: %v", name, c.Programs[i].Name, err)
			}
		}
	}
}
