package document

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Problem is one mistake in a file.
type Problem struct {
	Rule    string // identifier of the rule it breaks
	File    string
	Line    int    // from 1; 0 if the mistake has no place
	Column  int    // from 1
	Source  string // the line itself
	Message string // what is wrong, and what would be right
}

// Error is the problem as a person reads it: place, message, rule, then the
// line with a mark under the place.
func (p Problem) Error() string {
	if p.Line == 0 {
		return fmt.Sprintf("%s: %s [%s]", p.File, p.Message, p.Rule)
	}
	text := fmt.Sprintf("%s:%d:%d: %s [%s]", p.File, p.Line, p.Column, p.Message, p.Rule)
	if p.Source == "" {
		return text
	}
	line, mark := excerpt(p.Source, p.Column)
	return text + "\n  | " + line + "\n  | " + mark
}

// excerpt is the part of a line around a column that fits a terminal, and the
// mark below it. A control character, which could move the cursor, is shown as ?.
func excerpt(line string, column int) (part, mark string) {
	const width = 76
	from, at := 0, max(column-1, 0)
	if size := utf8.RuneCountInString(line); size > width {
		at = min(at, size)
		from = max(0, at-width/2)
	}
	var b strings.Builder
	position := 0
	for _, r := range line {
		if position >= from+width {
			break
		}
		if position++; position > from {
			b.WriteRune(visible(r))
		}
	}
	return b.String(), strings.Repeat(" ", at-from) + "^"
}

func visible(r rune) rune {
	switch {
	case r == '\t':
		return ' '
	case unicode.IsControl(r):
		return '?'
	}
	return r
}

// Problems are all mistakes of a file, in its order.
type Problems []Problem

// Error lists every problem.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.Error()
	}
	return strings.Join(lines, "\n")
}

// Err is the problems as an error, nil if there are none.
func (ps Problems) Err() error {
	if len(ps) == 0 {
		return nil
	}
	return ps
}

// File is a file being read: its lines, and the problems found so far.
type File struct {
	Name     string
	Problems Problems
	lines    []string
	noted    map[note]bool
	spoilt   map[*Node]bool
	reports  int
	trace    *Trace
}

// note is what makes a problem different from others of its file.
type note struct {
	rule, message string
	line, column  int
}

var lineEnds = strings.NewReplacer("\r\n", "\n", "\r", "\n")

// NewFile begins a file of the given name and content.
func NewFile(name string, data []byte) *File {
	lines := strings.Split(lineEnds.Replace(string(data)), "\n")
	return &File{Name: name, lines: lines, noted: make(map[note]bool), spoilt: make(map[*Node]bool)}
}

// Report notes a problem at a node, or with the whole file if n is nil. The
// same problem at the same place is noted once. Beyond [MaxProblems] it notes
// only that there are more.
func (f *File) Report(n *Node, rule, format string, args ...any) {
	f.reports++
	if len(f.Problems) > MaxProblems || f.spoilt[n] {
		return
	}
	p := Problem{Rule: rule, File: f.Name, Message: fmt.Sprintf(format, args...)}
	if len(f.Problems) == MaxProblems {
		p = Problem{Rule: rule, File: f.Name, Message: fmt.Sprintf("the file has more than %d problems; these are the first", MaxProblems)}
	} else if n != nil {
		p.Line, p.Column, p.Source = n.Line, n.Column, f.line(n.Line)
	}
	key := note{p.Rule, p.Message, p.Line, p.Column}
	if f.noted[key] {
		return
	}
	f.noted[key] = true
	f.Problems = append(f.Problems, p)
}

// Reports is how often a problem was reported, noted or not: it tells whether
// something that was read in between is sound.
func (f *File) Reports() int { return f.reports }

// Spoil leaves out what further is wrong with a node: it follows from what was
// reported.
func (f *File) Spoil(n *Node) { f.spoilt[n] = true }

func (f *File) line(number int) string {
	if number < 1 || number > len(f.lines) {
		return ""
	}
	return f.lines[number-1]
}

// Sorted is the problems in the order of the file. What concerns the whole file
// comes first.
func (f *File) Sorted() Problems {
	slices.SortStableFunc(f.Problems, func(a, b Problem) int {
		return cmp.Or(a.Line-b.Line, a.Column-b.Column, strings.Compare(a.Rule, b.Rule))
	})
	return f.Problems
}
