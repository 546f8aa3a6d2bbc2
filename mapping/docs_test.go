package mapping_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/document"
)

// TestDocumentedExamples holds that every YAML block of docs/mapping.md stands in
// a file under fixtures/mapping/good, which TestGoodFiles runs: a whole mapping as
// the whole file, a part as lines that follow one another.
func TestDocumentedExamples(t *testing.T) {
	blocks := regexp.MustCompile("(?s)```yaml\n(.*?)```").FindAllStringSubmatch(string(read(t, "../docs/mapping.md")), -1)
	if len(blocks) < 30 {
		t.Fatalf("only %d blocks are found", len(blocks))
	}
	var files []string
	for _, f := range fixtures(t, "good") {
		_, body, _ := strings.Cut(string(f.data), "# what: ")
		_, body, _ = strings.Cut(body, "\n")
		files = append(files, plain(body))
	}
	for _, block := range blocks {
		if !stands(files, block[1]) {
			t.Errorf("no file under fixtures/mapping/good holds\n%s", block[1])
		}
	}
}

func stands(files []string, block string) bool {
	whole := strings.Contains(block, "packlink: 1")
	for _, f := range files {
		if f == plain(block) || !whole && strings.Contains(f, plain(block)) {
			return true
		}
	}
	return false
}

// plain is a text without the indentation of its lines.
func plain(text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		b.WriteString("\n" + strings.TrimSpace(line))
	}
	return b.String() + "\n"
}

// TestDocumentedRules holds that docs/mapping.md lists each rule with its reason.
func TestDocumentedRules(t *testing.T) {
	text := string(read(t, "../docs/mapping.md"))
	var table strings.Builder
	for _, r := range mapping.Rules {
		fmt.Fprintf(&table, "| `%s` | %s |\n", r.ID, r.Reason)
	}
	if !strings.HasSuffix(text, "|---|---|\n"+table.String()) {
		t.Errorf("docs/mapping.md does not end with the table of rules:\n%s", table.String())
	}
}

// TestDocumentedKeys holds that docs/mapping.md names every key that the loader
// takes. The loader lists them where a key is unknown.
func TestDocumentedKeys(t *testing.T) {
	text, keys := string(read(t, "../docs/mapping.md")), make(map[string]bool)
	taken := regexp.MustCompile(`it takes ([a-z_, ()]+)`)
	for _, f := range fixtures(t, "bad") {
		_, problems := lint(t, f.path, f.data)
		for _, p := range problems {
			if list := taken.FindStringSubmatch(p.Message); list != nil && p.Rule == document.RuleUnknownKey {
				for _, key := range strings.Split(list[1], ", ") {
					key, _, _ = strings.Cut(key, " (") // on what condition
					keys[key] = true
				}
			}
		}
	}
	if len(keys) < 60 {
		t.Errorf("only %d keys are found: %v", len(keys), keys)
	}
	for key := range keys {
		if !regexp.MustCompile("[`{ ]" + key + "[`:]").MatchString(text) {
			t.Errorf("the key %s is not described", key)
		}
	}
}

// TestDocumentedLimits holds the numbers of the table of limits.
func TestDocumentedLimits(t *testing.T) {
	text := string(read(t, "../docs/mapping.md"))
	for what, most := range map[string]int{
		"bytes of a file": document.MaxBytes, "words, marks and brackets": document.MaxTokens,
		"maps and lists in one another": document.MaxDepth, "keys of a map that has one on each line": document.MaxKeys, "blank lines one behind the other": document.MaxBlank, "problems that are listed": document.MaxProblems,
		"fields of a message that have a name":          mapping.MaxLets,
		"raw values of a message that fields depend on": mapping.MaxWhen,
		"messages that share an id":                     mapping.MaxShared,
		"sets of choices that examples hold under":      mapping.MaxChosen,
		"elements of `cells_v` and `balancing`":         pack.MaxCells, "elements of `temps_c`": pack.MaxTemps,
	} {
		if row := fmt.Sprintf("| %s | %d |\n", what, most); !strings.Contains(text, row) {
			t.Errorf("the limits lack %q", row)
		}
	}
}

// TestDocumentedFigures holds that docs/mapping.md lists each figure that a field
// can be derived from, its words and what it is.
func TestDocumentedFigures(t *testing.T) {
	text := string(read(t, "../docs/mapping.md"))
	for _, row := range mapping.Figures {
		takes := map[int]string{0: "", 1: "a list", 2: "a number or a list"}[min(len(row.Kinds), 2)]
		if slices.Contains(row.Kinds, pack.Flags) {
			takes = "a list"
		}
		words := ""
		if row.Words != nil {
			words = "`" + strings.Join(row.Words, "`, `") + "`: "
		}
		if line := strings.ReplaceAll(fmt.Sprintf("| `%s` | %s | %s%s |\n", row.Name, takes, words, row.Doc), "|  |", "| |"); !strings.Contains(text, line) {
			t.Errorf("docs/mapping.md lacks %q", line)
		}
	}
}
