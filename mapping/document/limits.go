package document

import (
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
// bytes.
type nesting struct {
	brackets, dashes, line int
}

// step takes the next token and says why it cannot be read, "" if it can.
func (n *nesting) step(t *token.Token) string {
	if t.Position.Line != n.line {
		n.dashes, n.line = 0, t.Position.Line
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
