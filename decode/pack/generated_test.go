package pack

import (
	"bytes"
	"flag"
	"os"
	"testing"
)

var update = flag.Bool("update", false, "write the generated files of docs/")

func TestGeneratedFiles(t *testing.T) {
	for path, want := range map[string][]byte{
		"../../docs/status.schema.json": Schema(),
		"../../docs/quantities.md":      QuantitiesMarkdown(),
	} {
		if *update {
			if err := os.WriteFile(path, want, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got, err := os.ReadFile(path)
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s is not what the catalogue gives (%v)\ntry: go test ./decode/pack -run Generated -update", path, err)
		}
	}
}
