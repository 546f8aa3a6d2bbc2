package mapping_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"packlink/fixtures/jsonschema"
	"packlink/mapping/document"
)

var update = flag.Bool("update", false, "write docs/mapping.schema.json")

const schemaPath = "../docs/mapping.schema.json"

// TestSchema holds docs/mapping.schema.json, the tables of docs/mapping.md and
// the loader together: each key that the loader takes is described, each that is
// described is taken, and the file is what they give.
func TestSchema(t *testing.T) {
	want := newSchemaMaker(t).schema()
	if *update {
		if err := os.WriteFile(schemaPath, want, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(schemaPath)
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("%s is not what the loader and docs/mapping.md give (%v)\ntry: go test ./mapping -run Schema -update", schemaPath, err)
	}
}

// plainValue is a node as JSON has it.
func plainValue(n *document.Node) any {
	switch n.Kind {
	case document.Map:
		o := object{}
		for _, p := range n.Pairs {
			o[p.Key.Text] = plainValue(p.Value)
		}
		return o
	case document.List:
		list := []any{}
		for _, item := range n.Items {
			list = append(list, plainValue(item))
		}
		return list
	}
	return plainScalar(n)
}

// plainScalar is a single value as YAML 1.2 reads it (section 10.3.2, the core
// schema).
func plainScalar(n *document.Node) any {
	if whole, err := document.ParseInt(n.Text); err == nil && !n.Quoted {
		return json.Number(fmt.Sprint(whole))
	}
	if large, err := document.ParseBits(n.Text, 64); err == nil && !n.Quoted {
		return json.Number(fmt.Sprint(large))
	}
	switch {
	case n.Quoted:
		return n.Text
	case n.Text == "null":
		return nil
	case n.Text == "true" || n.Text == "false":
		return n.Text == "true"
	case regexp.MustCompile(`^[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?$`).MatchString(n.Text):
		return json.Number(n.Text)
	}
	return n.Text
}

func checkSchema(t *testing.T, v *jsonschema.Validator, path string, data []byte) error {
	t.Helper()
	root, file := document.Parse(path, data)
	if root == nil {
		t.Fatal(file.Problems)
	}
	return v.Validate(plainValue(root))
}

// TestSchemaTakesGoodFiles validates each mapping of the library and each
// construct.
func TestSchemaTakesGoodFiles(t *testing.T) {
	v := mappingSchema(t)
	for path, data := range goodFiles(t) {
		if err := checkSchema(t, v, path, data); err != nil {
			t.Errorf("%s: %v", path, err)
		}
	}
}

func mappingSchema(t *testing.T) *jsonschema.Validator {
	t.Helper()
	v, err := jsonschema.New(read(t, schemaPath))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// notShapes are the bad files of a rule about shapes that a schema takes all the
// same, and why.
var notShapes = map[string]string{
	"missing-key-group.yaml":              "an empty list",
	"missing-key-id.yaml":                 "needed without pgn",
	"missing-key-match.yaml":              "which of can and read depends on the bus",
	"missing-key-messages.yaml":           "an empty list",
	"unknown-key-equals-register.yaml":    "a key of another bus",
	"unknown-key-ask-register.yaml":       "a key of another bus",
	"missing-key-ask.yaml":                "a question on a serial line has no hex",
	"missing-key-ask-pgn.yaml":            "needed unless pgn is that of a request",
	"missing-key-ask-source.yaml":         "needed beside pgn",
	"unknown-key-ask-source.yaml":         "source needs pgn",
	"wrong-type-length-iso-tp-empty.yaml": "fewer bytes than its transfer carries",
	"wrong-type-length-fast-packet.yaml":  "more bytes than its transfer carries",
	"wrong-type-any.yaml":                 "more bits than its id has",
	"wrong-type-code.yaml":                "the keys of a map of alarms",
	"wrong-type-other-of-flags.yaml":      "the keys of a map of alarms",
	"unknown-key-page.yaml":               "page needs repeat",
	"unknown-key-after-register.yaml":     "a key of another bus",
	"unknown-key-since.yaml":              "since needs date",
	"wrong-type-values.yaml":              "a text, which a flag does not mean",
	"wrong-type-equals.yaml":              "more bits than its field has",
	"unknown-key-frame-only.yaml":         "a key of another bus",
	"unknown-key-frame.yaml":              "a name that may be that of a part",
	"unknown-key-on.yaml":                 "a key of another type",
	"unknown-key-optional-register.yaml":  "a key of another bus",
	"unknown-key-part-constant.yaml":      "a key of another part",
	"unknown-key-part-data.yaml":          "a key of another part",
	"unknown-key-read.yaml":               "a key of another bus",
	"unknown-key-step.yaml":               "step needs repeat",
	"unknown-key-word-order.yaml":         "a key of another bus",
	"wrong-type-length-swapped.yaml":      "the first must not be greater than the second",
	"wrong-type-hex-prefix.yaml":          "a number, whose digits would be bytes without 0x",
	"wrong-type-part-value.yaml":          "more bits than its part has",
	"wrong-type-time-zero.yaml":           "a time of 0",
}

// TestSchemaRefusesBadFiles wants an editor to mark what is misspelt, missing
// or of another type.
func TestSchemaRefusesBadFiles(t *testing.T) {
	v := mappingSchema(t)
	refused := 0
	for _, f := range fixtures(t, "bad") {
		name := filepath.Base(f.path)
		shape := strings.HasPrefix(name, "unknown-key-") || strings.HasPrefix(name, "wrong-type-") || strings.HasPrefix(name, "missing-key-")
		if !shape {
			continue
		}
		err := checkSchema(t, v, f.path, f.data)
		switch _, excused := notShapes[name]; {
		case err == nil && !excused:
			t.Errorf("%s is taken", name)
		case err != nil && excused:
			t.Errorf("%s is refused, but said to be taken: %v", name, err)
		case err != nil:
			refused++
		}
	}
	if refused < 40 {
		t.Errorf("only %d files are refused", refused)
	}
}
