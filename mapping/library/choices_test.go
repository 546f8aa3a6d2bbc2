package library_test

import (
	"testing"

	"packlink/decode"
	"packlink/mapping"
	"packlink/mapping/library"
)

// TestExamplesOfChoices runs the examples of every built-in mapping, under the
// defaults and under each set of choices that it has examples for.
func TestExamplesOfChoices(t *testing.T) {
	for _, name := range library.Names() {
		m, err := library.Load(name)
		if err != nil {
			t.Fatal(err)
		}
		references := []string{name}
		for _, choices := range m.Choices {
			references = append(references, mapping.Reference(name, choices))
		}
		for _, reference := range references {
			c, err := library.Compile(reference)
			if err != nil {
				t.Fatal(err)
			}
			file, data, err := library.File(reference)
			if err != nil {
				t.Fatal(err)
			}
			if err := decode.Verify(c, file, data).Err(); err != nil {
				t.Errorf("%s: %v", reference, err)
			}
		}
	}
}
