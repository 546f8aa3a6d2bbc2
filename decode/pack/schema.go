package pack

import (
	"bytes"
	"encoding/json"
	"fmt"
)

// Schema is the JSON Schema (draft 2020-12) of a record, pack or bank, as it
// stands in docs/status.schema.json. It derives from the catalogue. The unit
// stands in each description, as the standard has no keyword for it.
func Schema() []byte {
	b := []byte(`{"$schema": "https://json-schema.org/draft/2020-12/schema",
		"title": "packlink record",
		"description": "One record of a pack or of a bank. A key's ending is its unit.",
		"oneOf": [{"$ref": "#/$defs/pack"}, {"$ref": "#/$defs/bank"}],
		"$defs": {`)
	for _, o := range objects {
		b = o.appendSchema(AppendKey(b, o.name))
	}
	b = append(b, "}}\n"...)
	var indented bytes.Buffer
	if err := json.Indent(&indented, b, "", "  "); err != nil {
		panic("pack: a schema in the catalogue is not JSON: " + err.Error())
	}
	return indented.Bytes()
}

func (o object) appendSchema(b []byte) []byte {
	b = AppendText(append(b, `{"type": "object", "description": `...), o.doc)
	b = append(b, `, "required": [`...)
	for _, k := range o.keys() {
		if k.Always {
			b = AppendText(appendComma(b), k.Key)
		}
	}
	b = append(b, `], "properties": {`...)
	for _, k := range o.keys() {
		b = appendProperty(b, k.Key, describe(k.Doc, k.Unit), k.Schema)
	}
	for _, q := range o.quantities() {
		b = appendProperty(b, q.String(), q.Row().describe(), q.Row().schema())
	}
	return append(b, `}, "additionalProperties": false}`...)
}

// appendProperty appends a member whose value is schema with a description.
func appendProperty(b []byte, key, description, schema string) []byte {
	b = AppendText(append(AppendKey(b, key), `{"description": `...), description)
	return append(append(b, ", "...), schema[len("{"):]...)
}

// describe adds the unit to a description, if there is one.
func describe(doc, unit string) string {
	if unit == "" {
		return doc
	}
	return doc + "; unit: " + unit
}

// describe is the row's description with the unit. A number without one says so.
func (r *Row) describe() string {
	if r.Kind == Number && r.Unit == "" {
		return r.Doc + "; no unit"
	}
	return describe(r.Doc, r.Unit)
}

// schema is the JSON Schema of the row's value.
func (r *Row) schema() string {
	switch r.Kind {
	case Number:
		return `{"type": "number"}`
	case Flag:
		return `{"type": "boolean"}`
	case Word:
		return fmt.Sprintf(`{"type": "string", "maxLength": %d}`, MaxText)
	case Numbers:
		return listSchema("number", r.Max)
	default:
		return listSchema("boolean", r.Max)
	}
}

// listSchema is the JSON Schema of a list, whose unknown elements are null.
func listSchema(element string, most int) string {
	return fmt.Sprintf(`{"type": "array", "maxItems": %d, "items": {"type": [%q, "null"]}}`, most, element)
}
