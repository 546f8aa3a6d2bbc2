package document

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/token"
)

// acceptCharacters refuses what is no text, and control characters, which YAML
// does not allow (YAML 1.2.2, section 5.1).
func (f *File) acceptCharacters(data []byte) bool {
	if !utf8.Valid(data) {
		f.Report(nil, RuleYAML, "the file is not UTF-8 text")
		return false
	}
	for i, line := range f.lines {
		column := 0
		for _, r := range line {
			column++
			if r < ' ' && r != '\t' || r >= 0x7F && r < 0xA0 && r != 0x85 {
				f.Report(&Node{Line: i + 1, Column: column}, RuleYAML, "the control character %U is not allowed", r)
				return false
			}
		}
	}
	return true
}

// acceptBlank refuses a long run of blank lines, as the lexer copies the text
// before it once for each of them.
func (f *File) acceptBlank() bool {
	blank := 0
	for i, line := range f.lines {
		if blank++; strings.Trim(line, " \t") != "" {
			blank = 0
		}
		if blank > MaxBlank {
			f.Report(&Node{Line: i + 1, Column: 1}, RuleYAML, "more than %d lines are blank, one behind the other; leave some out", MaxBlank)
			return false
		}
	}
	return true
}

// acceptTokens refuses what is not read here, and what would cost too much to
// parse, before anything is parsed: the parser calls itself for whatever stands
// inside something else.
func (f *File) acceptTokens(tokens token.Tokens) bool {
	if len(tokens) > MaxTokens {
		f.Report(nil, RuleYAML, "the file has %d words, marks and brackets; at most %d are read", len(tokens), MaxTokens)
		return false
	}
	n, begun := nesting{}, false
	for _, t := range tokens {
		if why := refused(t, begun); why != "" {
			f.Report(place(t), RuleYAML, "%s", why)
		}
		begun = begun || t.Type != token.CommentType
		if why := n.step(t); why != "" {
			f.Report(place(t), RuleYAML, "%s", why)
			return false
		}
	}
	return len(f.Problems) == 0
}

// refused says why a token is not read here, "" if it is. begun says that the
// document has begun.
func refused(t *token.Token, begun bool) string {
	switch t.Type {
	case token.AnchorType, token.AliasType, token.MergeKeyType:
		return "anchors, aliases and merge keys are not read; write the value out"
	case token.TagType, token.DirectiveType:
		return "tags and directives are not read; leave them out"
	case token.MappingKeyType:
		return "a key behind a question mark is not read; write key: value"
	case token.DocumentHeaderType:
		if begun {
			return "a second document begins here; a file holds one"
		}
	case token.DocumentEndType:
		return "the mark of a document's end is not read; leave it out"
	}
	return ""
}

// nesting follows how deep a token stands in brackets, and in lists that begin
// on one line. Other depth needs a longer indentation on each line, so it costs
// bytes. It counts the keys of maps that have one on each line, for each of
// which the parser calls itself, and those in brackets that no comma ends.
type nesting struct {
	brackets, dashes, line int
	colons                 int       // in brackets, since the last bracket or comma
	maps                   []lineMap // the innermost last
}

// lineMap is a map whose keys begin lines, all at one column.
type lineMap struct{ column, keys int }

// step takes the next token and says why it cannot be read, "" if it can.
func (n *nesting) step(t *token.Token) string {
	if t.Position.Line != n.line {
		n.dashes, n.line = 0, t.Position.Line
		if n.brackets == 0 && n.keys(t) > MaxKeys {
			return fmt.Sprintf("a map has more than %d keys", MaxKeys)
		}
	}
	if n.runsOn(t) {
		return "a bracket is not closed, or commas are missing"
	}
	switch t.Type {
	case token.MappingStartType, token.SequenceStartType:
		n.brackets++
	case token.MappingEndType, token.SequenceEndType:
		if n.brackets--; n.brackets < 0 {
			return "this bracket closes nothing"
		}
	case token.SequenceEntryType:
		if n.dashes++; n.brackets > 0 {
			return "a dash cannot stand inside brackets: write [a, b], or close the bracket before it"
		}
	}
	if n.brackets+n.dashes > MaxDepth {
		return tooDeep
	}
	return ""
}

// runsOn tells whether keys in brackets follow one another without a comma: the
// parser takes each for the value of the one before.
func (n *nesting) runsOn(t *token.Token) bool {
	switch t.Type {
	case token.MappingStartType, token.SequenceStartType, token.MappingEndType, token.SequenceEndType, token.CollectEntryType:
		n.colons = 0
	case token.MappingValueType:
		n.colons++
	}
	return n.brackets > 0 && n.colons > MaxDepth
}

// keys takes the first token of a line and says how many keys its map has so far.
func (n *nesting) keys(t *token.Token) int {
	column := t.Position.Column
	if t.Type == token.CommentType {
		return 0
	}
	n.maps = slices.DeleteFunc(n.maps, func(m lineMap) bool { return m.column > column })
	if t.Type == token.SequenceEntryType {
		return 0
	}
	if len(n.maps) == 0 || n.maps[len(n.maps)-1].column < column {
		n.maps = append(n.maps, lineMap{column: column})
	}
	innermost := &n.maps[len(n.maps)-1]
	innermost.keys++
	return innermost.keys
}
