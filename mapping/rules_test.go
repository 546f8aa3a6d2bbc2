package mapping_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"packlink/mapping"
)

// TestRulesAreComplete holds the table of rules against the constants of the
// two packages that report problems.
func TestRulesAreComplete(t *testing.T) {
	inTable := make(map[string]bool)
	for _, r := range mapping.Rules {
		if inTable[r.ID] || r.Reason == "" || strings.HasSuffix(r.Reason, ".") {
			t.Errorf("rule %q stands twice, or its reason is no plain clause: %q", r.ID, r.Reason)
		}
		inTable[r.ID] = true
	}
	inCode := append(ruleConstants(t, "."), ruleConstants(t, "document")...)
	for _, id := range inCode {
		if !inTable[id] {
			t.Errorf("the rule %q has no reason in Rules", id)
		}
	}
	for id := range inTable {
		if !slices.Contains(inCode, id) {
			t.Errorf("Rules has %q, which nothing reports", id)
		}
	}
}

// ruleConstants are the values of a package's constants Rule...
func ruleConstants(t *testing.T, folder string) (ids []string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".go") || strings.HasSuffix(e.Name(), "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), folder+"/"+e.Name(), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			spec, is := n.(*ast.ValueSpec)
			if is && strings.HasPrefix(spec.Names[0].Name, "Rule") && spec.Names[0].Name != "Rules" {
				id, _ := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
				ids = append(ids, id)
			}
			return true
		})
	}
	if len(ids) == 0 {
		t.Fatalf("no rules found in %s", folder)
	}
	return ids
}
