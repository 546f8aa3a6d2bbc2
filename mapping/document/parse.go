package document

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// RuleYAML is the rule that a file breaks which is not the YAML read here.
const RuleYAML = "yaml"

const byteOrderMark = "\uFEFF"

var tooDeep = fmt.Sprintf("maps and lists stand more than %d deep in one another", MaxDepth)

// Parse reads a file into its tree. If it is not readable as YAML, the root is
// nil and the file holds the problem.
func Parse(name string, data []byte) (*Node, *File) {
	f := NewFile(name, nil)
	if len(data) > MaxBytes {
		f.Report(nil, RuleYAML, "the file has %d bytes; at most %d are read", len(data), MaxBytes)
		return nil, f
	}
	data = bytes.TrimPrefix(data, []byte(byteOrderMark))
	f = NewFile(name, data)
	if !f.acceptCharacters(data) || !f.acceptBlank() {
		return nil, f
	}
	tokens := lexer.Tokenize(string(data))
	if !f.acceptTokens(tokens) {
		return nil, f
	}
	tree, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		f.reportSyntax(err)
		return nil, f
	}
	return f.document(tree), f
}

// document is the tree of the file's one document, nil if it has no other.
func (f *File) document(tree *ast.File) *Node {
	if len(tree.Docs) == 0 || tree.Docs[0].Body == nil {
		f.Report(nil, RuleYAML, "the file holds nothing")
		return nil
	}
	root := f.convert(tree.Docs[0].Body, 1)
	if len(f.Problems) > 0 {
		return nil
	}
	return root
}

// reportSyntax turns the parser's error into a problem with its place.
func (f *File) reportSyntax(err error) {
	var syntax yaml.Error
	if !errors.As(err, &syntax) || syntax.GetToken() == nil {
		f.Report(nil, RuleYAML, "not readable as YAML: %v", err)
		return
	}
	f.Report(place(syntax.GetToken()), RuleYAML, "not readable as YAML: %s%s", syntax.GetMessage(), f.hint(syntax.GetToken().Position.Line))
}

var unquotedBracket = regexp.MustCompile(`[:,{] *[A-Za-z0-9_]+\[`)

// hint is what is often wrong with a line that is not readable.
func (f *File) hint(line int) string {
	if line < 1 || line > len(f.lines) {
		return ""
	}
	switch text := f.lines[line-1]; {
	case strings.HasPrefix(strings.TrimLeft(text, " "), "\t"):
		return "; a tab cannot stand before a line: indent by blanks"
	case unquotedBracket.MatchString(text):
		return "; text that holds [ or { stands in quotes, as in \"cells_v[]\""
	}
	return ""
}

func place(t *token.Token) *Node {
	return &Node{Line: t.Position.Line, Column: max(t.Position.Column, 1)}
}

func (f *File) convert(from ast.Node, depth int) *Node {
	n := place(from.GetToken())
	switch v := from.(type) {
	case *ast.MappingNode:
		f.convertMap(n, v.Values, depth)
	case *ast.MappingValueNode:
		f.convertMap(n, []*ast.MappingValueNode{v}, depth)
	case *ast.SequenceNode:
		f.convertList(n, v.Values, depth)
	case *ast.LiteralNode:
		n.Kind, n.Text, n.Quoted = Scalar, strings.TrimSpace(v.Value.Value), true
	case *ast.StringNode, *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.NanNode, *ast.InfinityNode:
		t := from.GetToken()
		n.Kind, n.Text = Scalar, t.Value
		n.Quoted = t.Type == token.SingleQuoteType || t.Type == token.DoubleQuoteType
	case *ast.NullNode:
		n.Kind, n.Text = Scalar, "null"
	default:
		f.Report(n, RuleYAML, "%s is not read here; write a map, a list or a plain value", from.Type())
	}
	return n
}

func (f *File) convertList(n *Node, values []ast.Node, depth int) {
	n.Kind = List
	if depth > MaxDepth {
		f.Report(n, RuleYAML, "%s", tooDeep)
		return
	}
	for _, item := range values {
		n.Items = append(n.Items, f.convert(item, depth+1))
	}
}

func (f *File) convertMap(n *Node, values []*ast.MappingValueNode, depth int) {
	n.Kind = Map
	if depth > MaxDepth {
		f.Report(n, RuleYAML, "%s", tooDeep)
		return
	}
	lines := make(map[string]int)
	for _, v := range values {
		key := f.convert(v.Key, depth+1)
		if key.Kind != Scalar {
			f.Report(key, RuleYAML, "a key must be a plain word")
			continue
		}
		if line := lines[key.Text]; line > 0 {
			f.Report(key, RuleYAML, "the key %q stands twice, the first time at line %d", key.Text, line)
			continue
		}
		lines[key.Text] = key.Line
		n.Pairs = append(n.Pairs, Pair{key, f.convert(v.Value, depth+1)})
	}
	if len(n.Pairs) > 0 {
		n.Line, n.Column = n.Pairs[0].Key.Line, n.Pairs[0].Key.Column
	}
}
