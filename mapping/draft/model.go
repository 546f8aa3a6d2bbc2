package draft

import (
	"encoding/json"
	"fmt"
	"slices"
)

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
