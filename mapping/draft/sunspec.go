package draft

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"

	"packlink/decode/pack"
)

// definition is a SunSpec model definition, by the JSON schema that is published
// with the information model definitions.
type definition struct {
	ID    int
	Group modelGroup
	Desc  string
}

type modelGroup struct {
	Name   string
	Label  string
	Count  any // a number; the name of a point; 0 for as many as the model's length holds
	Points []point
	Groups []modelGroup
}

type point struct {
	Name    string
	Type    string
	Size    int
	Count   int
	SF      any // a power of ten, or the name of the point that gives it
	Units   string
	Label   string
	Desc    string
	Symbols []struct {
		Name  string
		Value any
	}
}

// wireType is how a mapping reads a type of points, and the raw value that
// stands for "not implemented": of uint16, int16, uint32 and bitfield32 as in the
// SunSpec Alliance's reference library, commit f2ece9aac64b of 2026-04-20; of the
// others from memory.
type wireType struct {
	as             string
	bits           int
	notImplemented string
}

var wireTypes = map[string]wireType{
	"int16": {"i16", 16, "0x8000"}, "int32": {"i32", 32, "0x80000000"}, "int64": {"i64", 64, "0x8000000000000000"},
	"uint16": {"u16", 16, "0xFFFF"}, "uint32": {"u32", 32, "0xFFFFFFFF"}, "uint64": {"u64", 64, "0xFFFFFFFFFFFFFFFF"},
	"acc16": {"u16", 16, "0"}, "acc32": {"u32", 32, "0"}, "acc64": {"u64", 64, "0"},
	"enum16": {"u16", 16, "0xFFFF"}, "enum32": {"u32", 32, "0xFFFFFFFF"},
	"bitfield16": {"u16", 16, "0xFFFF"}, "bitfield32": {"u32", 32, "0xFFFFFFFF"}, "bitfield64": {"u64", 64, "0xFFFFFFFFFFFFFFFF"},
	"raw16": {"u16", 16, ""}, "pad": {"u16", 16, "0x8000"}, "sunssf": {"i16", 16, "0x8000"}, "count": {"u16", 16, "0"},
	"float32": {"f32", 32, ""}, "float64": {"f64", 64, ""},
	"ipaddr": {"u32", 32, "0"}, "eui48": {"u64", 64, "0x0000FFFFFFFFFFFF"},
}

// SunSpec drafts a mapping of registers from a SunSpec model definition, the
// JSON of which is data.
func SunSpec(file string, data []byte) (*Draft, error) {
	var d definition
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.UseNumber()
	if err := decoder.Decode(&d); err != nil {
		return nil, fmt.Errorf("%s is no SunSpec model definition: %w", file, err)
	}
	if points := d.Group.Points; d.ID < 1 || d.ID >= 1<<16-1 || len(points) < 2 || points[0].Size != 1 || points[1].Size != 1 {
		return nil, fmt.Errorf("%s is no SunSpec model definition: it needs an id from 1 to 65534 and a group whose points begin with the id and the length", file)
	}
	m := &modelReader{builder: builder{file: file, head: registersHead}, at: 2}
	d.Group.Points = d.Group.Points[2:]
	m.group(&d.Group, "")
	if m.at > mostRegisters || m.groups > mostRegisters {
		return nil, fmt.Errorf("%s: the model has more than %d registers or groups", file, mostRegisters)
	}
	m.resolve(m.out.fields)
	if m.out.group != nil {
		m.resolve(m.out.group.fields)
	}
	m.out.name = d.Group.Name
	if m.out.name == "" {
		m.out.name = "values"
	}
	m.out.notes = append([]string{d.Group.Label, d.Desc}, m.notes...)
	m.out.match = fmt.Sprintf("read: {model: %d, count: %d}", d.ID, m.at)
	m.messages = []message{m.out}
	return m.draft()
}

const registersHead = `# The models begin at register 40000, or else at 0 or 50000.
bus: {registers: {table: holding, models_at: 40000}}
word_order: high-first
missing:
  u16: [0xFFFF]
  i16: [0x8000]
  u32: [0xFFFFFFFF]
  i32: [0x80000000]
  u64: [0xFFFFFFFFFFFFFFFF]
  i64: [0x8000000000000000]`

func (m *modelReader) point(p *point, within string) field {
	f := field{at: m.at, name: within + p.Name, within: within, unit: p.Units, scale: pack.Int(1), notes: describe(p)}
	wire, known := wireTypes[p.Type]
	f.as, f.bits = wire.as, wire.bits
	switch {
	case p.Type == "string":
		f.as, f.bits = fmt.Sprintf("text%d", 2*p.Size), 16*p.Size
		if p.Size < 1 || p.Size > 32 {
			f.lost = fmt.Sprintf("a text has 1 to 64 bytes, and this one %d", 2*p.Size)
		}
	case !known:
		f.lost = fmt.Sprintf("a mapping has no type for %q", p.Type)
	case f.bits != 16*p.Size:
		f.lost = fmt.Sprintf("a point of type %s has %d registers, and this one %d", p.Type, f.bits/16, p.Size)
	}
	if known && !strings.Contains(registersHead, wire.as+": ["+wire.notImplemented+"]") && wire.as[0] != 'f' {
		f.extra = fmt.Sprintf(", missing: [%s]", wire.notImplemented)
	}
	f.factor(p)
	f.bare = p.Units == "" && !strings.Contains(p.Type, "int") && p.Type != "string"
	return f
}

// factor reads the power of ten of a point.
func (f *field) factor(p *point) {
	switch sf := p.SF.(type) {
	case json.Number:
		if power, err := sf.Int64(); err == nil && power >= -10 && power <= 10 {
			f.scale = power10(int(power))
		}
	case string:
		f.scaleBy = sf
	}
}

func power10(power int) pack.Decimal {
	d := pack.Int(1)
	for range max(power, 0) {
		d.Coef *= 10
	}
	d.Exp = int8(min(power, 0))
	return d
}

// describe is what the definition says of a point.
func describe(p *point) []string {
	notes := []string{strings.Trim(p.Label+": "+p.Desc, ": ")}
	var symbols []string
	for _, s := range p.Symbols {
		symbols = append(symbols, fmt.Sprintf("%v %s", s.Value, s.Name))
	}
	if len(symbols) == 0 {
		return notes
	}
	what := "values: "
	if strings.HasPrefix(p.Type, "bitfield") {
		what = "bits (as flags they can be alarms): "
	}
	return append(notes, what+strings.Join(symbols, ", "))
}
