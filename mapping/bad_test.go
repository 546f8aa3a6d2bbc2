package mapping_test

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"packlink/mapping"
	"packlink/mapping/document"
)

// TestBadFiles holds every file under fixtures/mapping/bad against its header:
// each problem by its rule and place, no more and no fewer.
func TestBadFiles(t *testing.T) {
	for _, f := range fixtures(t, "bad") {
		t.Run(filepath.Base(f.path), func(t *testing.T) {
			_, problems := lint(t, f.path, f.data)
			got := make([]string, len(problems))
			for i, p := range problems {
				got[i] = fmt.Sprintf("%s %d:%d", p.Rule, p.Line, p.Column)
			}
			if diff := cmp.Diff(f.expect, got); diff != "" {
				t.Errorf("expected (-), reported (+):\n%s%v", diff, problems)
			}
			for _, text := range f.says {
				if !strings.Contains(problems.Error(), text) {
					t.Errorf("no message says %q:\n%v", text, problems)
				}
			}
		})
	}
}

// TestBadFileNames holds that a bad file is named after the first rule that it
// breaks, so that the files of a rule are found.
func TestBadFileNames(t *testing.T) {
	for _, f := range fixtures(t, "bad") {
		name := filepath.Base(f.path)
		rule, _, _ := strings.Cut(f.expect[0], " ")
		broken := strings.Join(f.expect, "\n")
		if !strings.HasPrefix(name, rule+"-") && !strings.HasPrefix(name, "many-") && !hasRuleOf(name, broken) {
			t.Errorf("%s breaks %s first", name, rule)
		}
	}
}

// hasRuleOf tells whether a file's name begins with a rule among those it breaks.
func hasRuleOf(name, broken string) bool {
	for _, r := range mapping.Rules {
		if strings.HasPrefix(name, r.ID+"-") && strings.Contains("\n"+broken, "\n"+r.ID+" ") {
			return true
		}
	}
	return false
}

// TestEveryRuleHasABadFile holds that no rule goes untried.
func TestEveryRuleHasABadFile(t *testing.T) {
	files := fixtures(t, "bad")
	for _, rule := range mapping.Rules {
		alone := 0
		for _, f := range files {
			if breaksOnly(f, rule.ID) {
				alone++
			}
		}
		if alone == 0 {
			t.Errorf("no file breaks the rule %q alone", rule.ID)
		}
	}
}

func breaksOnly(f fixture, rule string) bool {
	for _, e := range f.expect {
		if !strings.HasPrefix(e, rule+" ") {
			return false
		}
	}
	return true
}

// TestGeneratedFiles tries files that are too large to keep.
func TestGeneratedFiles(t *testing.T) {
	const head = "packlink: 1\nname: big\ntitle: t\nsource: [{title: s}]\nnotes: "
	for name, text := range map[string]string{
		"a byte too long":    head + strings.Repeat("x", document.MaxBytes+1-len(head)),
		"lists without end":  strings.Repeat("[", document.MaxBytes),
		"lists line by line": strings.Repeat("[\n- ", document.MaxBytes/4),
		"maps without end":   strings.Repeat("{a: ", document.MaxBytes/4),
		"dashes without end": strings.Repeat("- ", document.MaxTokens),
		"empty items":        strings.Repeat("-\n", document.MaxTokens+1),
		"aliases":            strings.Repeat("*a ", document.MaxTokens/2),
		"one key":            strings.Repeat("a: 1\n", document.MaxTokens/3),
		"not UTF-8":          head + "\xff\n",
		"empty":              "",
	} {
		_, problems := lint(t, name, []byte(text))
		if problems[0].Rule != document.RuleYAML {
			t.Errorf("%s: got %v", name, problems[0])
		}
		if len(problems) > document.MaxProblems+1 {
			t.Errorf("%s: %d problems are listed", name, len(problems))
		}
	}
}
