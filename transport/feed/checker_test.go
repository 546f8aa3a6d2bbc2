package feed

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"
)

// The grammar is that of OpenMetrics 1.0, section "ABNF", as far as this
// package uses it: gauge and info, no timestamps, no exemplars. From memory,
// with the order TYPE, UNIT, HELP and "# EOF" as in STANDARDS.md, section 9.
var (
	metadataLine = regexp.MustCompile(`^# (TYPE|UNIT|HELP) ([a-zA-Z_:][a-zA-Z0-9_:]*) ((?:[^"\\]|\\["\\n])*)$`)
	sampleLine   = regexp.MustCompile(`^([a-zA-Z_:][a-zA-Z0-9_:]*)(?:\{(.*)\})? ([+-]?[0-9]+(?:\.[0-9]*)?)$`)
	labelPart    = regexp.MustCompile(`^([a-zA-Z_][a-zA-Z0-9_]*)="((?:[^"\\]|\\["\\n])*)"(,|$)`)
)

// exposition is a checked text: each sample's value by its name and labels.
type exposition map[string]string

// checker reads an exposition line by line.
type checker struct {
	samples  exposition
	families map[string]bool // the names that had a family
	name     string          // the family that is open
	kind     string
	seen     []string // the metadata lines of the family so far
	filled   bool     // the family has samples
}

// check reads an exposition, and refuses what a strict reader would refuse.
func check(text string) (exposition, error) {
	body, found := strings.CutSuffix(text, "# EOF\n")
	if !found || strings.Contains(body, "# EOF") {
		return nil, fmt.Errorf("the last line, and only that, must be # EOF")
	}
	if !utf8.ValidString(text) {
		return nil, fmt.Errorf("not UTF-8")
	}
	c := checker{samples: exposition{}, families: map[string]bool{}}
	for line := range strings.Lines(body) {
		read := c.sample
		if strings.HasPrefix(line, "#") {
			read = c.metadata
		}
		if err := read(strings.TrimSuffix(line, "\n")); err != nil {
			return nil, fmt.Errorf("%w: %q", err, line)
		}
	}
	return c.samples, nil
}

func (c *checker) metadata(line string) error {
	m := metadataLine.FindStringSubmatch(line)
	if m == nil {
		return fmt.Errorf("not a metadata line")
	}
	keyword, name, text := m[1], m[2], m[3]
	if keyword == "TYPE" {
		if c.families[name] {
			return fmt.Errorf("a second family of the name")
		}
		c.families[name], c.name, c.kind, c.seen, c.filled = true, name, text, nil, false
	}
	order := []string{"TYPE", "UNIT", "HELP"}
	late := len(c.seen) > 0 && slices.Index(order, c.seen[len(c.seen)-1]) >= slices.Index(order, keyword)
	switch {
	case name != c.name || late || c.filled:
		return fmt.Errorf("metadata out of order")
	case keyword == "TYPE" && text != "gauge" && text != "info":
		return fmt.Errorf("an unknown type")
	case keyword == "UNIT" && (c.kind == "info" || !strings.HasSuffix(name, "_"+text) || text == ""):
		return fmt.Errorf("the unit is not the name's ending")
	}
	c.seen = append(c.seen, keyword)
	return nil
}

func (c *checker) sample(line string) error {
	m := sampleLine.FindStringSubmatch(line)
	if m == nil {
		return fmt.Errorf("not a sample")
	}
	want := c.name
	if c.kind == "info" {
		want += "_info"
	}
	if m[1] != want {
		return fmt.Errorf("a sample outside its family %q", c.name)
	}
	if c.kind == "info" && m[3] != "1" {
		return fmt.Errorf("an info metric that is not 1")
	}
	names, err := labelNames(m[2])
	if err != nil {
		return err
	}
	slices.Sort(names)
	if len(slices.Compact(names)) != len(names) {
		return fmt.Errorf("a label twice")
	}
	key := m[1] + "{" + m[2] + "}"
	if _, twice := c.samples[key]; twice {
		return fmt.Errorf("a sample twice")
	}
	c.samples[key], c.filled = m[3], true
	return nil
}

func labelNames(text string) (names []string, err error) {
	for text != "" {
		m := labelPart.FindStringSubmatch(text)
		if m == nil || m[3] == "," && len(m[0]) == len(text) {
			return nil, fmt.Errorf("not a list of labels")
		}
		names, text = append(names, m[1]), text[len(m[0]):]
	}
	return names, nil
}
