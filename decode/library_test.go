package decode

import (
	"os"
	"path/filepath"
	"testing"

	"packlink/mapping"
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
