package pack

import "strings"

// RecordKey is a key of a record, or of an object inside one, that is not a
// quantity: no mapping can write it.
type RecordKey struct {
	Key    string
	In     string // "pack", "bank" or "both": the records it stands in; else the object it stands in
	Always bool   // it is never absent
	Schema string // its JSON Schema
	Unit   string // A, %, s, or "" for what is no measurement
	Doc    string
}

// RecordKeys are the keys of a record that are not quantities.
var RecordKeys = []RecordKey{
	{"time", "both", false, `{"type": "string", "format": "date-time"}`, "", "time of the newest frame used, RFC 3339, UTC"},
	{"source", "pack", true, `{"type": "string"}`, "", "name of the source the pack was heard on"},
	{"address", "pack", false, `{"type": "integer", "minimum": 0}`, "", "the pack's address on its bus, where the protocol has one"},
	{"mapping", "pack", true, `{"type": "string"}`, "", "name of the mapping that decoded it"},
	{"bank", "bank", true, `{"type": "string"}`, "", "name of the bank"},
	{"alarms", "both", false, `{"type": "array", "items": {"$ref": "#/$defs/alarm"}}`, "", "alarms that are active now; an empty array says that there are none, absence that it is not known"},
	{"stale", "both", false, `{"type": "array", "items": {"type": "string"}}`, "", "keys whose message is overdue"},
	{"suspect", "both", false, `{"type": "array", "items": {"$ref": "#/$defs/suspect"}}`, "", "values that lie outside the mapping's plausible range"},
	{"age_s", "both", false, `{"type": "number"}`, "s", "age of the newest frame used"},
	{"shares", "bank", true, `{"type": "array", "items": {"$ref": "#/$defs/share"}}`, "", "each pack's part of the bank's current"},
}

// partKeys are the keys of the objects inside a record.
var partKeys = []RecordKey{
	{"kind", "alarm", true, enum(alarmKinds[:]), "", "what the alarm is about"},
	{"level", "alarm", true, enum(alarmLevels[:]), "", "warning: the pack goes on; protection: it has switched something off"},
	{"source", "share", true, `{"type": "string"}`, "", "name of the source the pack was heard on"},
	{"address", "share", false, `{"type": "integer", "minimum": 0}`, "", "the pack's address on its bus, where the protocol has one"},
	{"current_a", "share", false, `{"type": "number"}`, "A", "the pack's current, positive while charging"},
	{"share_pct", "share", false, `{"type": "number"}`, "%", "the pack's part of the bank's current"},
	{"key", "suspect", true, `{"type": "string"}`, "", "key of the value"},
	{"why", "suspect", true, `{"type": "string"}`, "", "what speaks against it"},
}

// object is a kind of JSON object that records are made of.
type object struct {
	name   string
	record bool // it is a whole record, and holds quantities
	doc    string
}

var objects = []object{
	{"pack", true, "what is known about one pack; what is not known is absent, never 0"},
	{"bank", true, "what is known about a bank of packs as a whole; what is not known is absent, never 0"},
	{"alarm", false, "an alarm that is active"},
	{"share", false, "one pack of a bank, and its part of the current"},
	{"suspect", false, "a value that is shown, and should not be believed"},
}

// keys are the object's keys that are not quantities.
func (o object) keys() (keys []RecordKey) {
	for _, k := range append(RecordKeys[:len(RecordKeys):len(RecordKeys)], partKeys...) {
		if k.In == o.name || k.In == "both" && o.record {
			keys = append(keys, k)
		}
	}
	return keys
}

// quantities are the quantities that the object can hold.
func (o object) quantities() (quantities []Quantity) {
	for q := range Count {
		if o.record && (o.name == "bank" || catalogue[q].Group != bankGroup) {
			quantities = append(quantities, q)
		}
	}
	return quantities
}

// enum is the JSON Schema of a text that is one of names.
func enum(names []string) string {
	return `{"type": "string", "enum": ["` + strings.Join(names, `", "`) + `"]}`
}
