package pack

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/big"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

// parseJSON reads exactly one JSON text, numbers as they are written. A key that
// comes twice in an object is an error, as RFC 8259, section 4 wants them unique.
func parseJSON(text []byte) (any, error) {
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	value, err := parseValue(d)
	if err != nil {
		return nil, fmt.Errorf("%w in %q", err, text)
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("something follows the value in %q", text)
	}
	return value, nil
}

func parseValue(d *json.Decoder) (any, error) {
	token, err := d.Token()
	if err != nil {
		return nil, err
	}
	switch token {
	case json.Delim('['):
		list := []any{}
		for d.More() {
			element, err := parseValue(d)
			if err != nil {
				return nil, err
			}
			list = append(list, element)
		}
		_, err := d.Token()
		return list, err
	case json.Delim('{'):
		return parseObject(d)
	}
	return token, nil
}

func parseObject(d *json.Decoder) (any, error) {
	object := map[string]any{}
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return nil, err
		}
		name := key.(string)
		if _, twice := object[name]; twice {
			return nil, fmt.Errorf("the key %q comes twice", name)
		}
		if object[name], err = parseValue(d); err != nil {
			return nil, err
		}
	}
	_, err := d.Token()
	return object, err
}

// validator checks values against a schema of the keywords below: JSON Schema
// 2020-12, core (section 8) and validation (sections 6 and 7.3.1). It refuses a
// schema with any other keyword.
type validator struct{ root map[string]any }

type check func(v *validator, argument, value any) error

// checks are the keywords that can refuse a value; nil for one that cannot.
var checks map[string]check

func init() {
	checks = map[string]check{
		"$schema": nil, "$defs": nil, "title": nil, "description": nil,
		"$ref": checkRef, "oneOf": checkOneOf, "type": checkType, "enum": checkEnum,
		"properties": checkProperties, "required": checkRequired, "additionalProperties": nil, // checkProperties does it
		"items": checkItems, "maxItems": checkMaxItems, "minimum": checkMinimum, "maxLength": checkMaxLength, "format": checkFormat,
	}
}

func newValidator(t *testing.T, schema []byte) *validator {
	t.Helper()
	value, err := parseJSON(schema)
	if err != nil {
		t.Fatal(err)
	}
	if err := knownKeywords(value); err != nil {
		t.Fatal(err)
	}
	return &validator{value.(map[string]any)}
}

// knownKeywords looks through a schema and those inside it.
func knownKeywords(schema any) error {
	object, ok := schema.(map[string]any)
	if !ok {
		return fmt.Errorf("a schema is %v, and must be an object", schema)
	}
	for keyword, argument := range object {
		if _, known := checks[keyword]; !known {
			return fmt.Errorf("the keyword %q is not known", keyword)
		}
		for _, inner := range schemasIn(keyword, argument) {
			if err := knownKeywords(inner); err != nil {
				return fmt.Errorf("%s: %w", keyword, err)
			}
		}
	}
	return nil
}

func schemasIn(keyword string, argument any) (schemas []any) {
	switch keyword {
	case "properties", "$defs":
		for _, schema := range argument.(map[string]any) {
			schemas = append(schemas, schema)
		}
	case "oneOf":
		schemas = argument.([]any)
	case "items":
		schemas = []any{argument}
	}
	return schemas
}

// validate checks one record.
func (v *validator) validate(record []byte) error {
	value, err := parseJSON(record)
	if err != nil {
		return err
	}
	return v.apply(v.root, value)
}

func (v *validator) apply(schema, value any) error {
	for keyword, argument := range schema.(map[string]any) {
		var err error
		switch check := checks[keyword]; {
		case keyword == "properties":
			err = checkProperties(v, schema, value)
		case check != nil:
			err = check(v, argument, value)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func checkRef(v *validator, argument, value any) error {
	name, _ := strings.CutPrefix(argument.(string), "#/$defs/")
	schema, ok := v.root["$defs"].(map[string]any)[name]
	if !ok {
		return fmt.Errorf("%v refers to nothing", argument)
	}
	return v.apply(schema, value)
}

func checkOneOf(v *validator, argument, value any) error {
	var errs []string
	for _, schema := range argument.([]any) {
		if err := v.apply(schema, value); err != nil {
			errs = append(errs, err.Error())
		}
	}
	if fit := len(argument.([]any)) - len(errs); fit != 1 {
		return fmt.Errorf("%d schemas fit, not one: %s", fit, strings.Join(errs, "; "))
	}
	return nil
}

func checkType(_ *validator, argument, value any) error {
	names, several := argument.([]any)
	if !several {
		names = []any{argument}
	}
	for _, name := range names {
		if typeFits(name.(string), value) {
			return nil
		}
	}
	return fmt.Errorf("%v is none of %v", value, names)
}

func typeFits(name string, value any) (fits bool) {
	switch name {
	case "object":
		_, fits = value.(map[string]any)
	case "array":
		_, fits = value.([]any)
	case "string":
		_, fits = value.(string)
	case "boolean":
		_, fits = value.(bool)
	case "number":
		_, fits = value.(json.Number)
	case "integer":
		n, isNumber := value.(json.Number)
		fits = isNumber && number(n).IsInt()
	case "null":
		fits = value == nil
	default:
		panic("no such type: " + name)
	}
	return fits
}

func number(n json.Number) *big.Rat {
	r, _ := new(big.Rat).SetString(n.String())
	return r
}

func checkEnum(_ *validator, argument, value any) error {
	if !slices.Contains(argument.([]any), value) {
		return fmt.Errorf("%v is not in the list", value)
	}
	return nil
}

// checkProperties takes the whole schema: which keys are additional depends on
// the properties.
func checkProperties(v *validator, schema, value any) error {
	properties := schema.(map[string]any)["properties"].(map[string]any)
	closed := schema.(map[string]any)["additionalProperties"] == false
	object, _ := value.(map[string]any)
	for key, member := range object {
		property, known := properties[key]
		if !known && closed {
			return fmt.Errorf("the key %q is not allowed", key)
		}
		if known {
			if err := v.apply(property, member); err != nil {
				return fmt.Errorf("%s: %w", key, err)
			}
		}
	}
	return nil
}

func checkRequired(_ *validator, argument, value any) error {
	object, ok := value.(map[string]any)
	for _, key := range argument.([]any) {
		if _, has := object[key.(string)]; ok && !has {
			return fmt.Errorf("the key %q is missing", key)
		}
	}
	return nil
}

func checkItems(v *validator, argument, value any) error {
	list, _ := value.([]any)
	for i, element := range list {
		if err := v.apply(argument, element); err != nil {
			return fmt.Errorf("element %d: %w", i, err)
		}
	}
	return nil
}

func checkMaxItems(_ *validator, argument, value any) error {
	return atMost(argument, func() (int, bool) { list, ok := value.([]any); return len(list), ok })
}

func checkMaxLength(_ *validator, argument, value any) error {
	return atMost(argument, func() (int, bool) { text, ok := value.(string); return utf8.RuneCountInString(text), ok })
}

func atMost(limit any, size func() (int, bool)) error {
	most, err := limit.(json.Number).Int64()
	if n, ok := size(); err != nil || ok && n > int(most) {
		return fmt.Errorf("%d is more than %v", n, limit)
	}
	return nil
}

func checkMinimum(_ *validator, argument, value any) error {
	if n, ok := value.(json.Number); ok && number(n).Cmp(number(argument.(json.Number))) < 0 {
		return fmt.Errorf("%v is less than %v", n, argument)
	}
	return nil
}

func checkFormat(_ *validator, argument, value any) error {
	text, ok := value.(string)
	if argument != "date-time" {
		return fmt.Errorf("the format %v is not known", argument)
	}
	if _, err := time.Parse(time.RFC3339Nano, text); ok && err != nil {
		return err
	}
	return nil
}

// The validator is a tool of these tests: here it is held against hand-made
// schemas. The expectations follow JSON Schema 2020-12, validation, section 6.
func TestValidator(t *testing.T) {
	for _, c := range []struct {
		schema, value string
		fits          bool
	}{
		{`{"type": "integer"}`, `1.0`, true},
		{`{"type": "integer"}`, `1.5`, false},
		{`{"type": ["number", "null"]}`, `null`, true},
		{`{"type": ["number", "null"]}`, `"1"`, false},
		{`{"minimum": 0}`, `-0.5`, false},
		{`{"minimum": 0}`, `"no number"`, true},
		{`{"maxLength": 2}`, `"äö"`, true},
		{`{"maxLength": 2}`, `"abc"`, false},
		{`{"maxItems": 1}`, `[1, 2]`, false},
		{`{"items": {"type": "boolean"}}`, `[true, null]`, false},
		{`{"enum": ["a"]}`, `"b"`, false},
		{`{"required": ["a"]}`, `{}`, false},
		{`{"required": ["a"]}`, `[]`, true},
		{`{"properties": {"a": {"type": "null"}}, "additionalProperties": false}`, `{"b": null}`, false},
		{`{"properties": {"a": {"type": "null"}}}`, `{"b": 1, "a": null}`, true},
		{`{"oneOf": [{"type": "number"}, {"type": "integer"}]}`, `1`, false},
		{`{"oneOf": [{"type": "number"}, {"type": "integer"}]}`, `1.5`, true},
		{`{"$ref": "#/$defs/a", "$defs": {"a": {"type": "null"}}}`, `1`, false},
		{`{"$ref": "#/$defs/b", "$defs": {}}`, `1`, false},
		{`{"format": "date-time"}`, `"2026-02-30T00:00:00Z"`, false},
		{`{}`, `{"a": 1, "a": 1}`, false},
		{`{}`, `1 2`, false},
	} {
		if err := newValidator(t, []byte(c.schema)).validate([]byte(c.value)); (err == nil) != c.fits {
			t.Errorf("%s with %s: %v, want it to fit: %v", c.schema, c.value, err, c.fits)
		}
	}
}

func TestValidatorRefusesUnknownKeywords(t *testing.T) {
	for _, schema := range []string{
		`{"pattern": "a"}`, `{"items": {"unit": "V"}}`, `{"oneOf": [{"const": 1}]}`, `{"properties": {"a": {"maxlength": 1}}}`, `{"$defs": {"a": true}}`,
	} {
		value, err := parseJSON([]byte(schema))
		if err != nil {
			t.Fatal(err)
		}
		if knownKeywords(value) == nil {
			t.Errorf("%s was taken", schema)
		}
	}
}
