package mapping_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"packlink/mapping"
	"packlink/mapping/document"
)

// object is a JSON object whose keys come out sorted.
type object = map[string]any

// schemaMaker makes the schema of mapping files: what the loader asks of files
// that use every construct, and how docs/mapping.md describes each key.
type schemaMaker struct {
	t     *testing.T
	trace document.Trace
	docs  map[string]map[string]string // descriptions by kind of map and key
	defs  object
}

// goodFiles are the files that a schema must take: those of the library, and
// one for each construct.
func goodFiles(t *testing.T) map[string][]byte {
	files := make(map[string][]byte)
	for _, pattern := range []string{"library/*.yaml", "../fixtures/mapping/good/*.yaml"} {
		paths, _ := filepath.Glob(pattern)
		for _, path := range paths {
			files[path] = read(t, path)
		}
	}
	if len(files) < 30 {
		t.Fatalf("only %d files are found", len(files))
	}
	return files
}

func newSchemaMaker(t *testing.T) *schemaMaker {
	t.Helper()
	m := &schemaMaker{t: t, docs: documentedKeys(t), defs: object{}}
	files := goodFiles(t)
	for _, path := range slices.Sorted(maps.Keys(files)) {
		if err := mapping.Traced(path, files[path], &m.trace); err != nil {
			t.Fatal(err)
		}
	}
	return m
}

var (
	keyTable = regexp.MustCompile(`(?m)^\| key of ([^|]+) \|.*\n\|[-|]+\n((?:\|.*\n)+)`)
	inCode   = regexp.MustCompile("`([a-z_0-9]+)`")
	link     = regexp.MustCompile(`\[([^\]]+)\]\([^)]*\)`)
)

// documentedKeys are the tables of docs/mapping.md whose head is "key of ...".
func documentedKeys(t *testing.T) map[string]map[string]string {
	t.Helper()
	docs := make(map[string]map[string]string)
	for _, table := range keyTable.FindAllStringSubmatch(string(read(t, "../docs/mapping.md")), -1) {
		kind := table[1]
		if docs[kind] == nil {
			docs[kind] = make(map[string]string)
		}
		for row := range strings.Lines(table[2]) {
			cells := strings.Split(strings.Trim(row, "| \n"), " | ")
			for _, key := range inCode.FindAllStringSubmatch(cells[0], -1) {
				docs[kind][key[1]] = description(cells[1:])
			}
		}
	}
	return docs
}

// description is what a table says of a key, as plain text.
func description(cells []string) string {
	text := cells[0]
	if len(cells) > 1 && cells[1] != "refused" && cells[1] != "none" {
		text += ". Without it: " + cells[1]
	}
	return strings.ReplaceAll(link.ReplaceAllString(text, "$1"), "`", "")
}

// schema is the whole schema.
func (m *schemaMaker) schema() []byte {
	root := object{
		"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "packlink mapping file",
		"description": "What the frames of a protocol mean; docs/mapping.md is the reference. packlink mapping lint checks more than a schema can say.",
		"$ref":        m.ref("a mapping"),
	}
	m.defs["chosen"] = object{"description": "the choice of an option", "type": "string", "pattern": `^\$[a-z][a-z0-9-]*$`}
	root["$defs"] = m.defs
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(root); err != nil {
		m.t.Fatal(err)
	}
	return b.Bytes()
}

// ref refers to the schema of a kind of map, which it makes at first.
func (m *schemaMaker) ref(kind string) string {
	name := strings.ReplaceAll(kind, " ", "-")
	if m.defs[name] != nil {
		return "#/$defs/" + name
	}
	def := object{"type": "object"}
	m.defs[name] = def
	traced, properties, required := m.trace.Kinds[kind], object{}, []string{}
	for _, key := range slices.Sorted(maps.Keys(traced.Keys)) {
		k := traced.Keys[key]
		property := m.values(k.Nodes)
		if len(property) == 0 {
			m.t.Errorf("%q of %s: no file under fixtures/mapping/good gives it, or the loader does not say what it takes (document.File.Takes)", key, kind)
		}
		description := m.docs[kind][key]
		if description == "" {
			m.t.Errorf("%q of %s is not described: docs/mapping.md has no row for it in a table whose head is: | key of %s | takes | without it |", key, kind, kind)
		}
		property["description"] = description
		properties[key] = property
		if k.Needed >= traced.Maps {
			required = append(required, key)
		}
	}
	for key := range m.docs[kind] {
		if traced.Keys[key] == nil {
			m.t.Errorf("docs/mapping.md describes %q of %s, which nothing reads", key, kind)
		}
	}
	def["properties"], def["required"], def["additionalProperties"] = properties, required, false
	if len(traced.Own) > 0 {
		def["additionalProperties"] = m.values(traced.Own)
	}
	return "#/$defs/" + name
}

// values is the schema of what a key can be, from all its values.
func (m *schemaMaker) values(nodes []*document.Node) object {
	var scalars []document.Form
	var items []*document.Node
	lists, schemas := false, []any{}
	free, kinds := []*document.Node{}, map[string]bool{}
	for _, n := range nodes {
		scalars = append(scalars, m.trace.Forms(n)...)
		switch kind := m.trace.Named(n); {
		case n.Kind == document.List:
			lists, items = true, append(items, n.Items...)
		case n.Kind == document.Map && kind != "" && len(m.keysOf(kind)) > 0:
			kinds[kind] = true
		case n.Kind == document.Map:
			free = append(free, n)
		}
	}
	schemas = append(schemas, scalarSchemas(scalars)...)
	if lists {
		schemas = append(schemas, object{"type": "array", "items": m.values(items)})
	}
	for _, kind := range slices.Sorted(maps.Keys(kinds)) {
		schemas = append(schemas, object{"$ref": m.ref(kind)})
	}
	if len(free) > 0 {
		schemas = append(schemas, m.free(free))
	}
	switch len(schemas) {
	case 0:
		return object{}
	case 1:
		return schemas[0].(object)
	}
	return object{"anyOf": schemas}
}

func (m *schemaMaker) keysOf(kind string) map[string]*document.KeyTrace {
	return m.trace.Kinds[kind].Keys
}

// free is the schema of maps whose keys the file chooses.
func (m *schemaMaker) free(nodes []*document.Node) object {
	var values []*document.Node
	for _, n := range nodes {
		for _, p := range n.Pairs {
			values = append(values, p.Value)
		}
	}
	return object{"type": "object", "additionalProperties": m.values(values)}
}

// scalarSchemas are the schemas of single values: the wider of two forms of a
// type, all choices of one.
func scalarSchemas(forms []document.Form) (schemas []any) {
	byType := make(map[string][]document.Form)
	for _, f := range forms {
		byType[f.Type] = append(byType[f.Type], f)
	}
	chosen := object{"$ref": "#/$defs/chosen"}
	for _, kind := range slices.Sorted(maps.Keys(byType)) {
		switch same := byType[kind]; kind {
		case "text":
			s := object{"type": []string{"string", "number", "boolean"}}
			if pattern := same[0].Pattern; pattern != "" && allEqual(same) {
				s["pattern"] = pattern
			}
			schemas = append(schemas, s)
		case "string":
			schemas = append(schemas, stringSchemas(same)...)
		case "null":
			schemas = append(schemas, object{"type": kind})
		case "integer":
			schemas = append(schemas, wholeSchema(same), chosen)
		default:
			schemas = append(schemas, object{"type": kind}, chosen)
		}
	}
	return slices.CompactFunc(schemas, func(a, b any) bool { return fmt.Sprint(a) == fmt.Sprint(b) })
}

func allEqual(forms []document.Form) bool {
	return !slices.ContainsFunc(forms, func(f document.Form) bool { return f.Pattern != forms[0].Pattern })
}

func stringSchemas(forms []document.Form) (schemas []any) {
	choices, patterns := make(map[string]bool), make(map[string]bool)
	for _, f := range forms {
		for _, c := range f.Choices {
			choices[c] = true
		}
		if f.Pattern != "" {
			patterns[f.Pattern] = true
		}
	}
	if len(choices) > 0 {
		schemas = append(schemas, object{"type": "string", "enum": slices.Sorted(maps.Keys(choices))}, object{"$ref": "#/$defs/chosen"})
	}
	for _, pattern := range slices.Sorted(maps.Keys(patterns)) {
		schemas = append(schemas, object{"type": "string", "pattern": pattern})
	}
	return schemas
}

// wholeSchema has the widest bounds, none if one form has none.
func wholeSchema(forms []document.Form) object {
	least, most := forms[0].Least, forms[0].Most
	for _, f := range forms {
		if f.Least == 0 && f.Most == 0 {
			return object{"type": "integer"}
		}
		least, most = min(least, f.Least), max(most, f.Most)
	}
	return object{"type": "integer", "minimum": least, "maximum": most}
}
