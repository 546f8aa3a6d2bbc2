package document

import (
	"errors"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// RuleYAML is the rule that a file breaks which is not the YAML read here.
const RuleYAML = "yaml"

// Parse reads a file into its tree. If it is not readable as YAML, the root is
// nil and the file holds the problem.
func Parse(name string, data []byte) (*Node, *File) {
	f := NewFile(name, data)
	switch {
	case len(data) > MaxBytes:
		f.Report(nil, RuleYAML, "the file has %d bytes; at most %d are read", len(data), MaxBytes)
		return nil, f
	case !utf8.Valid(data):
		f.Report(nil, RuleYAML, "the file is not UTF-8 text")
		return nil, f
	}
	tokens := lexer.Tokenize(string(data))
	if !f.acceptTokens(tokens) {
		return nil, f
	}
	tree, err := parser.Parse(tokens, 0)
	if err != nil {
		f.reportSyntax(err)
		return nil, f
	}
	if len(tree.Docs) != 1 || tree.Docs[0].Body == nil {
		f.Report(nil, RuleYAML, "the file must hold one YAML document; it holds %d", len(tree.Docs))
		return nil, f
	}
	root := f.convert(tree.Docs[0].Body, 1)
	if len(f.Problems) > 0 {
		return nil, f
	}
	return root, f
}

// acceptTokens refuses what is not read here, and what would cost too much to
// parse, before anything is parsed.
func (f *File) acceptTokens(tokens token.Tokens) bool {
	depth, keys := 0, 0
	for _, t := range tokens {
		place := &Node{Line: t.Position.Line, Column: t.Position.Column}
		switch t.Type {
		case token.AnchorType, token.AliasType, token.MergeKeyType:
			f.Report(place, RuleYAML, "anchors, aliases and merge keys are not read; write the value out")
		case token.TagType, token.DirectiveType:
			f.Report(place, RuleYAML, "tags and directives are not read; leave %q out", t.Value)
		case token.MappingStartType, token.SequenceStartType, token.SequenceEntryType:
			depth++
		case token.MappingEndType, token.SequenceEndType:
			depth--
		case token.MappingValueType:
			keys++
		}
		if t.Type == token.SequenceEntryType && (t.Prev == nil || t.Prev.Position.Line != t.Position.Line) {
			depth = 0
		}
		if depth > MaxDepth {
			f.Report(place, RuleYAML, "maps and lists stand more than %d deep in one another", MaxDepth)
			return false
		}
	}
	if keys > MaxKeys {
		f.Report(nil, RuleYAML, "the file has %d keys; at most %d are read", keys, MaxKeys)
	}
	return len(f.Problems) == 0
}

// reportSyntax turns the parser's error into a problem with its place.
func (f *File) reportSyntax(err error) {
	var syntax yaml.Error
	if !errors.As(err, &syntax) || syntax.GetToken() == nil {
		f.Report(nil, RuleYAML, "not readable as YAML: %v", err)
		return
	}
	at := syntax.GetToken().Position
	f.Report(&Node{Line: at.Line, Column: at.Column}, RuleYAML, "not readable as YAML: %s", syntax.GetMessage())
}

func (f *File) convert(from ast.Node, depth int) *Node {
	at := from.GetToken().Position
	n := &Node{Line: at.Line, Column: at.Column}
	if depth > MaxDepth {
		f.Report(n, RuleYAML, "maps and lists stand more than %d deep in one another", MaxDepth)
		return n
	}
	switch v := from.(type) {
	case *ast.MappingNode:
		f.convertMap(n, v.Values, depth)
	case *ast.MappingValueNode:
		f.convertMap(n, []*ast.MappingValueNode{v}, depth)
	case *ast.SequenceNode:
		n.Kind = List
		for _, item := range v.Values {
			n.Items = append(n.Items, f.convert(item, depth+1))
		}
	case *ast.LiteralNode:
		n.Kind, n.Text, n.Quoted = Scalar, strings.TrimSpace(v.Value.Value), true
	case *ast.StringNode, *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode:
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

func (f *File) convertMap(n *Node, values []*ast.MappingValueNode, depth int) {
	n.Kind = Map
	for _, v := range values {
		key := f.convert(v.Key, depth+1)
		if key.Kind != Scalar {
			f.Report(key, RuleYAML, "a key must be a plain word")
			continue
		}
		n.Pairs = append(n.Pairs, Pair{key, f.convert(v.Value, depth+1)})
	}
	if len(n.Pairs) > 0 {
		n.Line, n.Column = n.Pairs[0].Key.Line, n.Pairs[0].Key.Column
	}
}
