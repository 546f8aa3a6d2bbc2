package document

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/goccy/go-yaml/lexer"
	"github.com/google/go-cmp/cmp"
)

// places are the scalars of a tree with their places.
func places(n *Node) (all []string) {
	if n.Kind == Scalar {
		all = append(all, fmt.Sprintf("%s %d:%d", n.Text, n.Line, n.Column))
	}
	for _, p := range n.Pairs {
		all = append(append(all, places(p.Key)...), places(p.Value)...)
	}
	for _, item := range n.Items {
		all = append(all, places(item)...)
	}
	return all
}

// TestPlaces holds that everything stands where an editor shows it: lines and
// characters from 1, whatever ends a line and however many bytes a character has.
func TestPlaces(t *testing.T) {
	for text, want := range map[string][]string{
		"a: 1\nb: [2,  3]\n":              {"a 1:1", "1 1:4", "b 2:1", "2 2:5", "3 2:9"},
		"a: 1\r\nb: 2\r\n":                {"a 1:1", "1 1:4", "b 2:1", "2 2:4"},
		"a: 1\rb: 2\r":                    {"a 1:1", "1 1:4", "b 2:1", "2 2:4"},
		"\uFEFFa: 1\n":                    {"a 1:1", "1 1:4"},
		"# c\n\n- x\n-   y # c\n":         {"x 3:3", "y 4:5"},
		"ü: [é, \"ß\", 'x']\n":            {"ü 1:1", "é 1:5", "ß 1:8", "x 1:13"},
		"a: {b: c,\n    d: e}\n":          {"a 1:1", "b 1:5", "c 1:8", "d 2:5", "e 2:8"},
		"a: >\n  x\n  y\nb: |\n  z\n":     {"a 1:1", "x y 1:4", "b 4:1", "z 4:4"},
		"a: x\n  y\nb: 1\n":               {"a 1:1", "x y 1:4", "b 3:1", "1 3:4"},
		"a:\nb: ~\nc: null\n":             {"a 1:1", "null 1:3", "b 2:1", "null 2:4", "c 3:1", "null 3:4"},
		"---\na: 'it''s'\nb: \"x\\ty\"\n": {"a 2:1", "it's 2:4", "b 3:1", "x\ty 3:4"},
	} {
		root, f := Parse("t.yaml", []byte(text))
		if root == nil {
			t.Errorf("%q: %v", text, f.Problems)
			continue
		}
		if diff := cmp.Diff(want, places(root)); diff != "" {
			t.Errorf("%q: %s", text, diff)
		}
	}
}

// TestQuoted holds that quotes are seen, as "1" is a text and 1 a number.
func TestQuoted(t *testing.T) {
	root, _ := Parse("t.yaml", []byte("[1, '1', \"1\", null, 'null']"))
	var got []bool
	for _, n := range root.Items {
		got = append(got, n.Quoted)
	}
	if want := []bool{false, true, true, false, true}; !slices.Equal(got, want) {
		t.Errorf("quoted: %v, want %v", got, want)
	}
}

// TestExcerpt shows lines with their mark below.
func TestExcerpt(t *testing.T) {
	long := strings.Repeat("0123456789", 30)
	for _, c := range []struct {
		line       string
		column     int
		part, mark string
	}{
		{"a: b", 4, "a: b", "   ^"},
		{"a: b", 0, "a: b", "^"},
		{"a: b", 9, "a: b", "        ^"},
		{"\ta", 2, " a", " ^"},
		{"ü: é", 4, "ü: é", "   ^"},
		{"a\x1b[2Jb\u0085", 2, "a?[2Jb?", " ^"},
		{long[:76], 76, long[:76], strings.Repeat(" ", 75) + "^"},
		{long, 1, long[:76], "^"},
		{long, 151, long[112:188], strings.Repeat(" ", 38) + "^"},
		{long, 300, long[261:], strings.Repeat(" ", 38) + "^"},
		{long, 999, long[262:], strings.Repeat(" ", 38) + "^"},
		{strings.Repeat("é", 200), 100, strings.Repeat("é", 76), strings.Repeat(" ", 38) + "^"},
	} {
		if part, mark := excerpt(c.line, c.column); part != c.part || mark != c.mark {
			t.Errorf("column %d of %.20q: got\n%s\n%s\nwant\n%s\n%s", c.column, c.line, part, mark, c.part, c.mark)
		}
	}
}

// TestProblemsAreSorted holds the order of problems, that the same is noted
// once, and what a problem looks like.
func TestProblemsAreSorted(t *testing.T) {
	f := NewFile("t.yaml", []byte("first\nsecond\n"))
	for _, r := range []struct {
		n    *Node
		rule string
	}{{&Node{Line: 2, Column: 3}, "b"}, {&Node{Line: 1, Column: 6}, "a"}, {nil, "c"}, {&Node{Line: 2, Column: 1}, "z"}, {&Node{Line: 2, Column: 1}, "a"}, {&Node{Line: 2, Column: 3}, "b"}} {
		f.Report(r.n, r.rule, "wrong")
	}
	want := `t.yaml: wrong [c]
t.yaml:1:6: wrong [a]
  | first
  |      ^
t.yaml:2:1: wrong [a]
  | second
  | ^
t.yaml:2:1: wrong [z]
  | second
  | ^
t.yaml:2:3: wrong [b]
  | second
  |   ^`
	if diff := cmp.Diff(want, f.Sorted().Err().Error()); diff != "" {
		t.Error(diff)
	}
	if f.Reports() != 6 {
		t.Errorf("%d reports, not 6", f.Reports())
	}
}

// TestSpoiltNodes holds that what follows from a problem is left out, and still
// counts as a report.
func TestSpoiltNodes(t *testing.T) {
	f, n := NewFile("t.yaml", nil), &Node{Line: 1, Column: 1}
	f.Report(n, "a", "the cause")
	f.Spoil(n)
	f.Report(n, "b", "what follows")
	f.Report(&Node{Line: 1, Column: 1}, "c", "another at the same place")
	if len(f.Problems) != 2 || f.Problems[1].Rule != "c" || f.Reports() != 3 {
		t.Errorf("got %v, %d reports", f.Problems, f.Reports())
	}
}

// TestProblemsAreBounded holds that a hostile file does not fill the memory with
// its mistakes, and that the list says that it is cut.
func TestProblemsAreBounded(t *testing.T) {
	f := NewFile("t.yaml", nil)
	for i := range 3 * MaxProblems {
		f.Report(&Node{Line: i + 1, Column: 1}, "a", "mistake %d", i)
	}
	problems := f.Sorted()
	if len(problems) != MaxProblems+1 || problems[0].Line != 0 || !strings.Contains(problems[0].Message, "more than 500") {
		t.Errorf("%d problems, the first is %v", len(problems), problems[0])
	}
}

func TestNoProblemsAreNoError(t *testing.T) {
	if err := NewFile("t.yaml", nil).Sorted().Err(); err != nil {
		t.Errorf("got %v", err)
	}
}

// TestLimits holds the limits at their edges.
func TestLimits(t *testing.T) {
	list := func(items int) string { return "[" + strings.TrimSuffix(strings.Repeat("a,", items), ",") + "]" }
	keys := func(n int) (text string) {
		for i := range n {
			text += fmt.Sprintf("k%d: 1\n", i)
		}
		return text
	}
	deep := func(n int, open, shut string) string { return strings.Repeat(open, n) + "x" + strings.Repeat(shut, n) }
	for name, c := range map[string]struct {
		text string
		read bool
	}{
		"most bytes and a map": {"a: b #" + strings.Repeat("x", MaxBytes-6), true},
		"a byte more":          {"a: b #" + strings.Repeat("x", MaxBytes-5), false},
		"most tokens":          {list((MaxTokens - 1) / 2), true},
		"tokens beyond":        {list(MaxTokens/2 + 1), false},
		"most brackets":        {deep(MaxDepth, "[", "]"), true},
		"brackets beyond":      {deep(MaxDepth+1, "[", "]"), false},
		"most dashes":          {deep(MaxDepth, "- ", ""), true},
		"dashes beyond":        {deep(MaxDepth+1, "- ", ""), false},
		"brackets in dashes":   {strings.Repeat("- ", MaxDepth) + "[]", false},
		"brackets side by":     {"[" + strings.Repeat("[],", 1000) + "[]]", true},
		"most keys":            {keys(MaxKeys), true},
		"keys beyond":          {keys(MaxKeys + 1), false},
		"keys in many maps":    {strings.Repeat("-\n  a: 1\n  b: 2\n", MaxKeys), true},
		"lines in brackets":    {"[" + strings.Repeat("{a: 1,\nb: 2},\n", MaxKeys) + "]", true},
		"no comma":             {"[" + strings.Repeat("a:\n ", MaxKeys) + "]", false},
		"a map in a map":       {"{a: {b: c, d: e}, f: [g: h, i: j]}", true},
		"most blank lines":     {"a: |\n x" + strings.Repeat("\n", MaxBlank+1) + "b: c", true},
		"blank lines beyond":   {"a: |\n x" + strings.Repeat("\n", MaxBlank+2) + "b: c", false},
		"blanks in lines":      {"a: >\n" + strings.Repeat(" \t\r\n", MaxBlank+1) + " x", false},
		"nothing but returns":  {"a: >\n" + strings.Repeat("\r", MaxBlank+1), false},
		"dashes line by line":  {strings.Repeat("- - a\n", 1000), true},
	} {
		if root, f := Parse(name, []byte(c.text)); (root != nil) != c.read {
			t.Errorf("%s: read %t, %v", name, root != nil, f.Problems)
		}
	}
}

// TestParseBits reads raw values at the edges of their width.
func TestParseBits(t *testing.T) {
	for _, c := range []struct {
		text string
		bits int
		want uint64
		ok   bool
	}{
		{"0", 1, 0, true}, {"1", 1, 1, true}, {"2", 1, 0, false}, {"-1", 1, 1, true}, {"-2", 1, 0, false},
		{"255", 8, 255, true}, {"0xFF", 8, 255, true}, {"0xff", 8, 255, true}, {"256", 8, 0, false},
		{"-128", 8, 0x80, true}, {"-129", 8, 0, false}, {"-0x80", 8, 0x80, true},
		{"18446744073709551615", 64, 1<<64 - 1, true}, {"18446744073709551616", 64, 0, false},
		{"-9223372036854775808", 64, 1 << 63, true}, {"-9223372036854775809", 64, 0, false},
		{"0x123456789012345678901234567890", 64, 0, false},
		{"", 8, 0, false}, {"-", 8, 0, false}, {"-0", 8, 0, false}, {"007", 8, 0, false}, {"+1", 8, 0, false}, {"1_0", 8, 0, false},
		{"0x", 8, 0, false}, {"0x_1", 8, 0, false}, {"0X1", 8, 0, false}, {"0b1", 8, 0, false}, {"0o1", 8, 0, false}, {"1e1", 8, 0, false}, {"1.0", 8, 0, false},
	} {
		got, err := ParseBits(c.text, c.bits)
		if (err == nil) != c.ok || c.ok && got != c.want {
			t.Errorf("%q in %d bits: got %d, %v", c.text, c.bits, got, err)
		}
		if number, err := ParseInt(c.text); err == nil && c.ok && uint64(number)&(1<<c.bits-1) != c.want {
			t.Errorf("%q: ParseInt gives %d", c.text, number)
		}
	}
}

// TestDuration reads times with their units.
func TestDuration(t *testing.T) {
	root, f := Parse("t.yaml", []byte("{a: 250ms, b: 1m30s, c: 24h}"))
	o := f.Object(root, "it")
	if o.Duration("a") != 250*time.Millisecond || o.Duration("b") != 90*time.Second || o.Duration("c") != 24*time.Hour || o.Duration("d") != 0 {
		t.Error("a time is read wrong")
	}
	o.Done()
	if len(f.Problems) > 0 {
		t.Error(f.Problems)
	}
}

// TestDepthIsBoundedBeforeParsing holds that nothing deep reaches the parser,
// which calls itself for each level.
func TestDepthIsBoundedBeforeParsing(t *testing.T) {
	for _, text := range []string{
		strings.Repeat("[", MaxDepth+1), strings.Repeat("{a: ", MaxDepth+1), strings.Repeat("- ", MaxDepth+1) + "x",
		strings.Repeat("- ", MaxDepth) + "[x]", strings.Repeat("[\n- ", MaxDepth), strings.Repeat("]", 9) + strings.Repeat("[", MaxDepth),
		strings.Repeat("? ", MaxDepth+1) + "x",
	} {
		if NewFile("t.yaml", []byte(text)).acceptTokens(lexer.Tokenize(text)) {
			t.Errorf("%.40q reaches the parser", text)
		}
	}
}
