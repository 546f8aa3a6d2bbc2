package draft_test

import (
	"errors"
	"os"
	"regexp"
	"strings"
	"testing"

	"packlink/mapping"
	"packlink/mapping/document"
)

func read(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// loaded is a draft as the loader reads it. lint must say that it has no
// examples, and nothing else.
func loaded(t testing.TB, text []byte) *mapping.Mapping {
	t.Helper()
	m, err := mapping.Draft("draft.yaml", text, nil)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	_, err = mapping.Load("draft.yaml", text, nil)
	var problems document.Problems
	if !errors.As(err, &problems) || len(problems) != len(m.Messages) {
		t.Fatalf("%d messages have no example, and the problems are: %v", len(m.Messages), err)
	}
	return m
}

var (
	proposed = regexp.MustCompile(`(?m)^( *)- \{[^\n]*let: [^\n]*\n((?: *# [^-\n][^\n]*\n)*) *# (- \{[^\n]*\})\n`)
	unsigned = regexp.MustCompile(`(is: (?:current_a|power_w))([^\n]*)\}`)
)

// adopted is a draft in which every proposal has taken the place of the field
// above it.
func adopted(text []byte) []byte {
	text = proposed.ReplaceAll(text, []byte("$1$3\n$2"))
	return unsigned.ReplaceAll(text, []byte("$1, sign: charge-positive$2}"))
}

// field is the field of a message that has a name.
func field(m *mapping.Mapping, message, name string) *mapping.Field {
	for i := range m.Messages {
		if !strings.HasPrefix(m.Messages[i].Name, message) {
			continue
		}
		fields := m.Messages[i].Fields
		if m.Messages[i].Each != nil {
			fields = append(fields, m.Messages[i].Each.Fields...)
		}
		for j := range fields {
			if fields[j].Let == name {
				return &fields[j]
			}
		}
	}
	return nil
}
