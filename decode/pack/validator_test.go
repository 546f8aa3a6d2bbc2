package pack

import (
	"testing"

	"packlink/fixtures/jsonschema"
)

// parseJSON reads exactly one JSON text.
var parseJSON = jsonschema.Parse

// validator checks records against a schema.
type validator struct{ *jsonschema.Validator }

func newValidator(t *testing.T, schema []byte) validator {
	t.Helper()
	v, err := jsonschema.New(schema)
	if err != nil {
		t.Fatal(err)
	}
	return validator{v}
}

func (v validator) validate(record []byte) error {
	value, err := parseJSON(record)
	if err != nil {
		return err
	}
	return v.Validate(value)
}
