package draft

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"packlink/decode/pack"
)

// definition is a SunSpec model definition (the JSON form of the information
// model definitions, whose schema they publish). What names differ is data.
type definition struct {
	ID    int
	Group modelGroup
	Label string
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
// stands for "not implemented" (SunSpec Device Information Model Specification
// V1.1, section 4; checked against the reference library of the SunSpec
// Alliance where it has the type, otherwise from memory).
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

// mostRegisters is how many registers a Modbus address can tell apart.
const mostRegisters = 1 << 16

// modelReader lays the points of a model out, one behind the other.
type modelReader struct {
	builder
	out    message
	at     int      // register behind the newest point
	groups int      // groups that were laid out
	notes  []string // about the whole model
}

// group lays out a group that is there once, and what lies in it. within stands
// before the names of its points.
func (m *modelReader) group(g *modelGroup, within string) {
	m.out.fields = append(m.out.fields, m.points(g.Points, within)...)
	for i := range g.Groups {
		inner := &g.Groups[i]
		times, fixed := count(inner.Count)
		switch {
		case m.out.group != nil:
			m.leaveOut(within+inner.Name, "it lies behind a group that is repeated, so its place is not known beforehand")
		case !fixed:
			m.repeated(inner, within)
		case times == 1:
			m.inner(inner, within+inner.Name+"_")
		default:
			for n := range min(times, mostRegisters+1) {
				m.inner(inner, fmt.Sprintf("%s%s%d_", within, inner.Name, n+1))
			}
		}
	}
}

// inner lays out a group inside another, unless the model is too large already.
func (m *modelReader) inner(g *modelGroup, within string) {
	if m.groups++; m.groups <= mostRegisters && m.at <= mostRegisters {
		m.group(g, within)
	}
}

func (m *modelReader) leaveOut(group, why string) {
	m.lose("group %s: %s", group, why)
	m.notes = append(m.notes, "left out: group "+group+": "+why)
}

// count is how often a group is there, if that is fixed.
func count(n any) (times int, fixed bool) {
	switch n := n.(type) {
	case nil:
		return 1, true
	case json.Number:
		times, err := n.Int64()
		return int(times), err == nil && times > 0
	}
	return 0, false
}

// repeated lays out a group that is there as often as a point says, or as the
// model's length has room for.
func (m *modelReader) repeated(g *modelGroup, within string) {
	start := m.at
	m.at = 0
	fields := m.points(g.Points, "")
	size := m.at
	m.at = start
	if len(g.Groups) > 0 {
		m.leaveOut(within+g.Name, "a repeated group that holds others has no fixed size")
		return
	}
	if size == 0 {
		return
	}
	m.out.group = &group{at: start, size: size, fields: fields}
	m.notes = append(m.notes, fmt.Sprintf("The group %s is repeated. Below, each repetition is one pack (each_pack). If it is a", g.Name),
		"part of one pack instead, such as a cell, write fields with repeat and step in place of it.")
}

// points lays out points, each of which can stand for several alike.
func (m *modelReader) points(points []point, within string) (fields []field) {
	for i := range points {
		for range max(points[i].Count, 1) {
			if m.at > mostRegisters {
				return fields
			}
			fields = append(fields, m.point(&points[i], within))
			m.at += min(max(points[i].Size, 1), mostRegisters)
		}
	}
	return fields
}

// resolve finds the points that give powers of ten: in the point's own group, or
// in the model. Those of a repeated group cannot be named.
func (m *modelReader) resolve(fields []field) {
	for i := range fields {
		f := &fields[i]
		if f.scaleBy == "" {
			continue
		}
		for _, name := range []string{f.scaleBy, f.within + f.scaleBy} {
			of := func(o field) bool { return o.name == name && o.as == "i16" && o.lost == "" }
			if at := slices.IndexFunc(m.out.fields, of); at >= 0 {
				f.power = &m.out.fields[at]
			}
		}
		if f.power == nil {
			why := fmt.Sprintf("its power of ten %s is not a point of the model outside the repeated group", f.scaleBy)
			m.lose("%s: %s", f.name, why)
			f.notes, f.bare = append(f.notes, why), true
		}
	}
}

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
