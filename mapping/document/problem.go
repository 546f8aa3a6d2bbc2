package document

import (
	"fmt"
	"slices"
	"strings"
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
// mark below it.
func excerpt(line string, column int) (part, mark string) {
	const width = 76
	runes := []rune(strings.ReplaceAll(line, "\t", " "))
	at := min(max(column-1, 0), len(runes))
	from := max(0, at-width/2)
	if len(runes) <= width {
		from = 0
	}
	return string(runes[from:min(len(runes), from+width)]), strings.Repeat(" ", at-from) + "^"
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
}

// NewFile begins a file of the given name and content.
func NewFile(name string, data []byte) *File {
	return &File{Name: name, lines: strings.Split(string(data), "\n")}
}

// Report notes a problem at a node, or with the whole file if n is nil. What
// stands at the same place with the same rule is noted once.
func (f *File) Report(n *Node, rule, format string, args ...any) {
	p := Problem{Rule: rule, File: f.Name, Message: fmt.Sprintf(format, args...)}
	if n != nil {
		p.Line, p.Column, p.Source = n.Line, n.Column, f.line(n.Line)
	}
	if slices.Contains(f.Problems, p) {
		return
	}
	f.Problems = append(f.Problems, p)
}

func (f *File) line(number int) string {
	if number < 1 || number > len(f.lines) {
		return ""
	}
	return strings.TrimRight(f.lines[number-1], "\r")
}

// Sorted is the problems in the order of the file.
func (f *File) Sorted() Problems {
	slices.SortStableFunc(f.Problems, func(a, b Problem) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Column - b.Column
	})
	return f.Problems
}
