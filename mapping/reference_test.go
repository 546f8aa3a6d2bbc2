package mapping_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"packlink/mapping"
)

func TestParseReference(t *testing.T) {
	for text, want := range map[string]struct {
		name    string
		options map[string]string
	}{
		"storage-can-35x": {"storage-can-35x", nil},
		"./my-pack.yaml":  {"./my-pack.yaml", nil},
		"sunspec-battery?current=discharge-positive": {"sunspec-battery", map[string]string{"current": "discharge-positive"}},
		"a?":              {"a", map[string]string{}},
		"a?b=c&d=e%20f":   {"a", map[string]string{"b": "c", "d": "e f"}},
		"a?b":             {"a", map[string]string{"b": ""}},
		"dir/a.yaml?b=?c": {"dir/a.yaml", map[string]string{"b": "?c"}},
	} {
		name, options, err := mapping.ParseReference(text)
		if err != nil || name != want.name {
			t.Errorf("%q: got %q, %v", text, name, err)
		}
		if diff := cmp.Diff(want.options, options); diff != "" {
			t.Errorf("%q: %s", text, diff)
		}
	}
}

func TestParseReferenceRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"":              "the mapping has no name",
		"?current=x":    "the mapping has no name",
		"a?b=1&b=2":     `option "b" is given 2 times`,
		"a?c=1&c=2&b=3": `option "c" is given 2 times`,
		"a?b=%zz":       "cannot be read",
		"a?b=1;c=2":     "cannot be read",
	} {
		if name, _, err := mapping.ParseReference(text); err == nil || !strings.Contains(err.Error(), says) || name != "" {
			t.Errorf("%q: got %q, %v; want an error that says %s", text, name, err, says)
		}
	}
}
