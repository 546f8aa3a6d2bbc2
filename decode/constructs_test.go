package decode_test

import (
	"os"
	"path/filepath"
	"testing"

	"packlink/decode"
	"packlink/mapping"
)

// TestConstructsAllocateNothing decodes the examples of every construct of the
// format on a CAN bus, over and over.
func TestConstructsAllocateNothing(t *testing.T) {
	paths, _ := filepath.Glob("../fixtures/mapping/good/*.yaml")
	tried := 0
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		m, err := mapping.Load(path, data, nil)
		if err != nil {
			t.Fatal(err)
		}
		if m.Bus.CAN == nil {
			continue
		}
		c, err := mapping.Compile(m)
		if err != nil {
			t.Fatal(err)
		}
		tried++
		frames := examples(c)
		d := decode.NewDecoder(c, "bus")
		at := int64(0)
		round := func() {
			for i := range frames {
				at++
				frames[i].Time = at
				d.Decode(&frames[i])
			}
		}
		round()
		if allocs := testing.AllocsPerRun(20, round); allocs != 0 {
			t.Errorf("%s: %v allocations a round", filepath.Base(path), allocs)
		}
	}
	if tried < 30 {
		t.Errorf("only %d files are tried", tried)
	}
}
