package decode

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/mapping/document"
)

// Verify runs every example of a mapping both ways: the bytes must mean what
// the example gives, and nothing else, and what they mean must be written back
// as the same bytes. It returns what does not hold, at its place in the file
// name, whose content is data.
func Verify(c *mapping.Compiled, name string, data []byte) document.Problems {
	file := document.NewFile(name, data)
	if noneChecks(c, file) {
		return file.Sorted()
	}
	for i := range c.Programs {
		for e := range c.Programs[i].Examples {
			v := &verifier{File: file, program: &c.Programs[i], example: &c.Programs[i].Examples[e]}
			v.run()
		}
	}
	return file.Sorted()
}

type verifier struct {
	*document.File
	program *mapping.Program
	example *mapping.Example
	status  pack.Status
	payload []byte
	packs   []pack.Status
	lets    lets
	head    serialHead // of the frame of a serial line
}

func (v *verifier) run() {
	p := v.program
	v.payload = v.example.Payload
	if p.Frame != nil && !v.unframe() {
		return
	}
	payload := v.payload
	grouped := p.Message.Each != nil || p.Message.Cells != nil
	if len(payload) < p.MinBytes || len(payload) > p.MaxBytes && !grouped {
		v.fail("the example has %d bytes; the message has %s", len(payload), lengthText(p))
		return
	}
	if !holds(p.Tests, payload) {
		v.fail("the example is not this message: a field that equals a constant has another value")
		return
	}
	if p.AddressIn != nil {
		v.address()
	}
	if !readNamed(p.Named, payload, nil, &v.lets) {
		v.fail("a named field of the example is outside its range")
		return
	}
	r := reading{status: &v.status, alarms: make([]said, p.Alarms), lets: &v.lets, at: 1}
	r.run(&p.Body, payload)
	r.cells(p, payload)
	v.status.Alarms = merged(r.alarms)
	v.compare(v.withPieces(v.withNamed(record(&v.status))), v.example.Gives)
	v.groups()
	v.writeBack()
	v.question()
}

func (v *verifier) fail(format string, args ...any) {
	v.Report(v.example.Place, mapping.RuleExample, format, args...)
}

// address takes the pack's address from the payload.
func (v *verifier) address() {
	got, _ := address(v.program, 0, v.payload)
	v.status.Address, v.status.HasAddress, v.head.address = got, true, got
	switch given := v.example.Place.Get("address"); {
	case given == nil:
		v.fail("the bytes give address: %d too; add it to the example", got)
	case int64(got) != int64(v.example.Address):
		v.Report(given, mapping.RuleExample, "the bytes give address: %d, not %d", got, v.example.Address)
	}
}

// withNamed adds the named fields that the example mentions to what was read.
func (v *verifier) withNamed(read map[string]string) map[string]string {
	for _, g := range v.example.Gives {
		for i := range v.program.Named {
			op := &v.program.Named[i]
			if value, known := v.lets.get(op.Slot); known && op.Let == g.Key {
				read[g.Key] = fmt.Sprint(value)
			}
		}
	}
	return read
}

// groups holds each pack of a message with a group against the example.
func (v *verifier) groups() {
	if v.program.Message.Each == nil {
		return
	}
	v.packs = readGroups(v.program, v.payload, &v.lets, 1)
	for i := range v.packs {
		v.packs[i].Fresh = true
	}
	if len(v.packs) != len(v.example.Each) {
		v.fail("the bytes hold %d packs, and each_gives has %d", len(v.packs), len(v.example.Each))
		return
	}
	for i := range v.packs {
		v.compare(record(&v.packs[i]), v.example.Each[i])
	}
}

// compare holds what was read against what the example gives, key by key.
func (v *verifier) compare(read map[string]string, gives []mapping.Given) {
	given := make(map[string]bool)
	for _, g := range gives {
		given[key(g)] = true
		got, ok := read[key(g)]
		switch {
		case !ok:
			v.Report(g.Place, mapping.RuleExample, "the bytes do not give %s", g.Key)
		case got != value(g):
			v.Report(g.Place, mapping.RuleExample, "the bytes give %s: %s, not %s", g.Key, got, value(g))
		}
	}
	for _, k := range slices.Sorted(maps.Keys(read)) {
		if !given[k] {
			v.fail("the bytes give %s: %s too; add it to gives", k, read[k])
		}
	}
}

// writeBack writes what was read and holds it against the example's bytes.
func (v *verifier) writeBack() {
	if v.program.ByReader {
		return
	}
	w := newWriting(v.program, &v.status, v.packs, &v.lets)
	w.original, w.pieces = v.payload, v.givenPieces()
	written, err := w.payload(v.program, len(v.payload), nil)
	if err == nil {
		written, err = appendGroups(v.program, w, written)
	}
	if err == nil && v.program.Read != nil && v.program.Read.Model != 0 {
		headModel(v.program, written, packNumber(v.program, v.payload))
	}
	if err == nil && v.program.Frame != nil {
		written, err = serialFrame(v.program, v.head.address, written, nil)
	}
	switch {
	case err != nil:
		v.fail("what the bytes mean cannot be written back: %v%s", err, v.suspects())
	case !bytes.Equal(written, v.example.Payload):
		v.fail("what the bytes mean is written back as % X%s", written, v.suspects())
	}
}

// suspects says which values were read that lie outside their range.
func (v *verifier) suspects() (text string) {
	for i := range v.program.Body.All {
		op := &v.program.Body.All[i]
		if op.Range == nil || op.Target == nil {
			continue
		}
		values := []pack.Value{v.status.Value(op.Quantity)}
		if op.Quantity.Row().Kind.List() {
			values = v.status.Elements(op.Quantity)
		}
		if slices.ContainsFunc(values, func(v pack.Value) bool { return v.Trust&(pack.Below|pack.Above) != 0 }) {
			text += fmt.Sprintf("; %s lies outside its range %s to %s, and what is suspect is not written", op.Quantity, op.Range.Low, op.Range.High)
		}
	}
	return text
}

// record is a status as its record shows it: each key's JSON text.
func record(s *pack.Status) map[string]string {
	var members map[string]json.RawMessage
	if err := json.Unmarshal(s.AppendJSON(nil), &members); err != nil {
		panic("decode: a record is not JSON: " + err.Error())
	}
	shown := make(map[string]string)
	for key, text := range members {
		if _, is := pack.ByKey(key); is || key == "alarms" {
			shown[key] = string(text)
		}
	}
	return shown
}

// key is a given key as it stands in a record: an element's list. A piece of a text has
// a key of its own.
func key(g mapping.Given) string {
	if isPiece(g) {
		return pieceKey(g.Target)
	}
	if g.Target != nil {
		return g.Target.Quantity.String()
	}
	return g.Key
}

// value is a given value as it stands in a record.
func value(g mapping.Given) string {
	if g.Key == "alarms" {
		var s pack.Status
		for _, a := range g.Alarms {
			s.Alarms.Set(a, true)
		}
		if len(g.Alarms) == 0 {
			return "[]"
		}
		return record(&s)["alarms"]
	}
	if g.Target == nil {
		return strings.Join(g.Texts, ",")
	}
	switch row := g.Target.Quantity.Row(); row.Kind {
	case pack.Word:
		return string(pack.AppendText(nil, g.Texts[0]))
	case pack.Number, pack.Flag:
		return g.Texts[0]
	}
	unknown := slices.Repeat([]string{"null"}, g.Target.Element)
	return "[" + strings.Join(append(unknown, g.Texts...), ",") + "]"
}
