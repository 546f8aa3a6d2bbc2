package physics

import (
	"fmt"
	"os"
	"strings"
	"testing"
)

// TestDocumentedGuards holds the table of docs/simulation.md to that of the code.
func TestDocumentedGuards(t *testing.T) {
	text, err := os.ReadFile("../../docs/simulation.md")
	if err != nil {
		t.Fatal(err)
	}
	if table := guardTable(); !strings.Contains(string(text), table) {
		t.Errorf("docs/simulation.md does not hold this table:\n%s", table)
	}
}

// guardTable is the guards as a table in Markdown.
func guardTable() string {
	var b strings.Builder
	b.WriteString("| alarm | warns at, until | protects at, until | after, until after | opens |\n|---|---|---|---|---|\n")
	for _, g := range guards {
		protects, after := "", ""
		if p := g.protection; p != nil {
			protects, after = fmt.Sprintf("%g, %g", p.at, p.back), fmt.Sprintf("%g s, %g s", p.seconds, p.backSeconds)
		}
		fmt.Fprintf(&b, "| `%s` | %g, %g | %s | %s | %s |\n", g.kind, g.warning.at, g.warning.back, protects, after, [...]string{"", "charging", "discharging", "both"}[g.opens])
	}
	return b.String()
}
