package pack

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
)

const noon = 1_780_000_000_000_000_000 // an instant in nanoseconds since the Unix epoch

// fullStatus has every quantity that a pack can have, and one alarm.
func fullStatus() *Status {
	s := &Status{Time: noon, Now: noon + 250_000_000, Source: "shed", Mapping: "bench", Address: 7, HasAddress: true}
	for q := range Count {
		switch r := q.Row(); {
		case r.Group == bankGroup:
		case r.Kind == Number:
			s.SetNumber(q, Decimal{-52831 - int64(q), -3}, noon)
		case r.Kind == Flag:
			s.SetFlag(q, q%2 == 0, noon)
		case r.Kind == Word:
			s.PutText(q, []byte("A-"+r.Key), Value{At: noon, Trust: Known})
		default:
			fillList(s, q)
		}
	}
	s.Alarms.Set(Alarm{}, true)
	return s
}

// fillList writes as many elements as fit, element 2 unknown.
func fillList(s *Status, q Quantity) {
	for i := range q.Row().Max {
		v := Value{Coef: int64(i % 2), At: noon, Trust: Known}
		if q != Balancing {
			v.Coef, v.Exp = 3300+int64(i), -3
		}
		if i == 2 {
			v = Value{}
		}
		s.PutElement(q, i, v)
	}
}

// records are records that AppendJSON writes.
func records() map[string][]byte {
	full, stale, silent, suspect, quiet, odd := fullStatus(), fullStatus(), fullStatus(), fullStatus(), fullStatus(), fullStatus()
	all := func(Value) bool { return true }
	stale.Expire(all)
	stale.AlarmsStale = true
	silent.Expire(all)
	silent.Silence()
	for q := range Count {
		if v := suspect.Place(q); v.Trust != 0 {
			v.Trust |= Above
		}
	}
	suspect.PutElement(Cells, 0, Value{Trust: Known | Below})
	suspect.PutElement(Cells, 1, Value{Trust: Known | Above})
	quiet.Alarms = AlarmSet{Known: 1}
	odd.Source, odd.Mapping, odd.Address = "\"\\\x00\xff</\u2028", strings.Repeat("ä", 400), 1<<32-1
	odd.PutText(Serial, slices.Repeat([]byte{0xFF}, MaxText), Value{Trust: Known})
	odd.PutText(Model, []byte(" \x00 "), Value{Trust: Known})
	odd.Time = -1
	m := map[string][]byte{}
	for name, s := range map[string]*Status{
		"full": full, "stale": stale, "silent": silent, "suspect": suspect, "quiet": quiet, "odd": odd, "empty": new(Status),
	} {
		m[name] = s.AppendJSON(nil)
	}
	return m
}

// bankRecord is written by hand after DESIGN.md, section 3 "Neutral status",
// bank record.
const bankRecord = `{"time": "2026-05-28T20:26:40Z", "bank": "garage", "packs": 2, "packs_fresh": 1, "voltage_v": 52.81, "current_a": -40,
	"cell_max_v": 3.314, "cell_max_at": 2, "cell_max_pack": 1, "cell_min_pack": 1, "charge_allowed": false, "temps_c": [21.5, null],
	"alarms": [{"kind": "other", "level": "protection"}], "stale": ["alarms"], "suspect": [{"key": "soc_pct", "why": "above"}], "age_s": 0.1,
	"shares": [{"source": "left", "address": 0, "current_a": -10, "share_pct": -25.5}, {"source": "shed"}]}`

func TestSchemaTakesRecords(t *testing.T) {
	v := newValidator(t, Schema())
	taken := records()
	taken["bank"] = []byte(bankRecord)
	taken["bank of nothing"] = []byte(`{"bank": "", "shares": []}`)
	for name, record := range taken {
		if err := v.validate(record); err != nil {
			t.Errorf("%s: %v\n%s", name, err, record)
		}
	}
}

func TestSchemaRefuses(t *testing.T) {
	v := newValidator(t, Schema())
	const whole = `"source": "shed", "mapping": "bench"`
	for why, record := range map[string]string{
		"no record":                         `[]`,
		"nothing":                           `{}`,
		"no mapping":                        `{"source": "shed"}`,
		"no source":                         `{"mapping": "bench"}`,
		"neither pack nor bank":             `{"voltage_v": 52.8}`,
		"pack and bank at once":             `{` + whole + `, "bank": "garage", "shares": []}`,
		"a bank's key in a pack":            `{` + whole + `, "packs": 1}`,
		"a bank's cell in a pack":           `{` + whole + `, "cell_max_pack": 1}`,
		"shares in a pack":                  `{` + whole + `, "shares": []}`,
		"a pack's key in a bank":            `{"bank": "garage", "shares": [], "address": 1}`,
		"a mapping in a bank":               `{"bank": "garage", "shares": [], "mapping": "bench"}`,
		"a bank without shares":             `{"bank": "garage"}`,
		"a share without source":            `{"bank": "garage", "shares": [{"address": 1}]}`,
		"a share with a voltage":            `{"bank": "garage", "shares": [{"source": "left", "voltage_v": 1}]}`,
		"a share of null":                   `{"bank": "garage", "shares": [{"source": "left", "share_pct": null}]}`,
		"a key of no catalogue":             `{` + whole + `, "voltage": 52.8}`,
		"a number as text":                  `{` + whole + `, "voltage_v": "52.8"}`,
		"an unknown number as null":         `{` + whole + `, "voltage_v": null}`,
		"a flag as number":                  `{` + whole + `, "charge_allowed": 1}`,
		"a text as number":                  `{` + whole + `, "serial": 1}`,
		"a text too long":                   `{` + whole + `, "serial": "` + strings.Repeat("x", MaxText+1) + `"}`,
		"a list as number":                  `{` + whole + `, "cells_v": 3.3}`,
		"a list of texts":                   `{` + whole + `, "cells_v": [3.3, "3.4"]}`,
		"a list of numbers for flags":       `{` + whole + `, "balancing": [0]}`,
		"a list too long":                   `{` + whole + `, "temps_c": [` + strings.Repeat("1,", MaxTemps) + `1]}`,
		"an alarm of no kind in the list":   `{` + whole + `, "alarms": [{"kind": "fire", "level": "warning"}]}`,
		"an alarm of no level in the list":  `{` + whole + `, "alarms": [{"kind": "other", "level": "alarm"}]}`,
		"an alarm without level":            `{` + whole + `, "alarms": [{"kind": "other"}]}`,
		"an alarm with more":                `{` + whole + `, "alarms": [{"kind": "other", "level": "warning", "text": ""}]}`,
		"alarms as null":                    `{` + whole + `, "alarms": null}`,
		"stale as an object":                `{` + whole + `, "stale": {"soc_pct": true}}`,
		"stale with a number":               `{` + whole + `, "stale": [1]}`,
		"suspect without reason":            `{` + whole + `, "suspect": [{"key": "soc_pct"}]}`,
		"suspect as keys":                   `{` + whole + `, "suspect": ["soc_pct"]}`,
		"a negative address":                `{` + whole + `, "address": -1}`,
		"an address with a fraction":        `{` + whole + `, "address": 1.5}`,
		"a time that is no RFC 3339 text":   `{` + whole + `, "time": "28.05.2026 20:26"}`,
		"a time as number":                  `{` + whole + `, "time": 1780000000}`,
		"an age as text":                    `{` + whole + `, "age_s": "1s"}`,
		"the same key twice (RFC 8259, 4.)": `{` + whole + `, "soc_pct": 1, "soc_pct": 1}`,
	} {
		if v.validate([]byte(record)) == nil {
			t.Errorf("%s: taken: %s", why, record)
		}
	}
}

// The shape is checked by hand against JSON Schema 2020-12 (STANDARDS.md, "JSON
// Schema 2020-12 [V]").
func TestSchemaShape(t *testing.T) {
	var schema struct {
		Schema string              `json:"$schema"`
		OneOf  []map[string]string `json:"oneOf"`
		Defs   map[string]struct {
			Type                 string
			Required             []string
			AdditionalProperties *bool
			Properties           map[string]map[string]any
		} `json:"$defs"`
	}
	if err := json.Unmarshal(Schema(), &schema); err != nil {
		t.Fatal(err)
	}
	if schema.Schema != "https://json-schema.org/draft/2020-12/schema" {
		t.Errorf("$schema is %q", schema.Schema)
	}
	if len(schema.OneOf) != 2 || schema.OneOf[0]["$ref"] != "#/$defs/pack" || schema.OneOf[1]["$ref"] != "#/$defs/bank" {
		t.Errorf("oneOf is %v", schema.OneOf)
	}
	sizes := map[string]int{"pack": int(Count) - 4 + 8, "bank": int(Count) + 7, "alarm": 2, "share": 4, "suspect": 2}
	if len(schema.Defs) != len(sizes) {
		t.Errorf("$defs has %d schemas, want %d", len(schema.Defs), len(sizes))
	}
	for name, size := range sizes {
		def := schema.Defs[name]
		if def.Type != "object" || len(def.Properties) != size || len(def.Required) == 0 || def.AdditionalProperties == nil || *def.AdditionalProperties {
			t.Errorf("%s: type %q, %d properties (want %d), required %v, additional %v", name, def.Type, len(def.Properties), size, def.Required, def.AdditionalProperties)
		}
		for key, property := range def.Properties {
			checkDescription(t, key, property)
		}
	}
}

// checkDescription wants a description that names the unit of the key's ending.
func checkDescription(t *testing.T, key string, property map[string]any) {
	t.Helper()
	description, _ := property["description"].(string)
	unit := unitOf(key)
	if len(description) < 10 || unit != "" && !strings.HasSuffix(description, "; unit: "+unit) {
		t.Errorf("%s is described as %q", key, description)
	}
	if property["type"] == "number" && unit == "" && !strings.HasSuffix(description, "; no unit") {
		t.Errorf("%s: %q does not say that there is no unit", key, description)
	}
}
