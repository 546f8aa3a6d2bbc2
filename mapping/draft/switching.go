package draft

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"go.einride.tech/can/pkg/dbc"

	"packlink/mapping"
)

// switching is which signals of a message are there at which values of its switches.
type switching struct {
	def      *dbc.MessageDef
	names    []dbc.Identifier // of the switches
	always   []dbc.SignalDef
	children map[dbc.Identifier][]child // by the switch that they depend on
	variants []variant
	never    []string // values that a switch never has
}

// child is a signal that depends on a switch.
type child struct {
	*dbc.SignalDef
	values []mapping.Raws
}

// variant is the message where its switches have some values.
type variant struct {
	switches []*dbc.SignalDef
	values   []uint64
	signals  []dbc.SignalDef // that are there then, beside those that always are
}

// switching sorts the signals of a message. why says, if not "", that it is not clear
// when they are there.
func (d *database) switching(def *dbc.MessageDef) (s *switching, why string) {
	s = &switching{def: def, children: make(map[dbc.Identifier][]child)}
	for i := range def.Signals {
		if d.isSwitch(&def.Signals[i]) {
			s.names = append(s.names, def.Signals[i].Name)
		}
	}
	var roots []*dbc.SignalDef
	for i := range def.Signals {
		signal := &def.Signals[i]
		p, why := d.dependence(s, signal)
		switch {
		case why != "":
			return s, why
		case p.by != "":
			s.children[p.by] = append(s.children[p.by], child{signal, p.values})
		case d.isSwitch(signal):
			roots = append(roots, signal)
		default:
			s.always = append(s.always, *signal)
		}
	}
	return s, s.branchFrom(roots)
}

func (d *database) isSwitch(signal *dbc.SignalDef) bool {
	return signal.IsMultiplexerSwitch || d.nested[signal.Pos.Offset]
}

// dependence is the switch that a signal depends on, and at which values it is there. A
// signal of a message without any switch depends on nothing.
func (d *database) dependence(s *switching, signal *dbc.SignalDef) (p presence, why string) {
	p = d.presences[owner{s.def.MessageID, signal.Name}]
	others := slices.DeleteFunc(slices.Clone(s.names), func(name dbc.Identifier) bool { return name == signal.Name })
	switch {
	case p.other != "":
		return p, fmt.Sprintf("%s is said to depend on %s and on %s", signal.Name, p.by, p.other)
	case p.by != "" && !slices.Contains(others, p.by):
		return p, fmt.Sprintf("%s depends on %s, which is no switch of the message", signal.Name, p.by)
	case p.by != "" || !signal.IsMultiplexed || len(s.names) == 0:
		return p, ""
	case len(others) == 1 && len(s.names) == 1:
		return presence{by: others[0], values: []mapping.Raws{{First: signal.MultiplexerSwitch, Last: signal.MultiplexerSwitch}}}, ""
	}
	return p, fmt.Sprintf("%s is there at some values of a switch, and SG_MUL_VAL_ does not say of which", signal.Name)
}

func joined(names []dbc.Identifier) string {
	texts := make([]string, len(names))
	for i, name := range names {
		texts[i] = string(name)
	}
	return strings.Join(texts, ", ")
}

// branchFrom finds the variants that begin at the switch which depends on none.
func (s *switching) branchFrom(roots []*dbc.SignalDef) (why string) {
	var first *dbc.SignalDef
	for _, root := range roots {
		switch {
		case len(s.valuesOf(root)) == 0:
			s.always = append(s.always, *root)
		case first != nil:
			return fmt.Sprintf("%s and %s each say which signals are there", first.Name, root.Name)
		default:
			first = root
		}
	}
	if first != nil {
		if why = s.branch(first, variant{}); why != "" {
			return why
		}
	}
	loose := slices.DeleteFunc(slices.Clone(s.names), func(name dbc.Identifier) bool {
		return slices.ContainsFunc(roots, func(root *dbc.SignalDef) bool { return s.reaches(root, name) })
	})
	if len(loose) > 0 {
		return fmt.Sprintf("%s depend on one another", joined(loose))
	}
	s.tellNever()
	return ""
}

// tellNever notes signals that are there at no value which their switch can have.
func (s *switching) tellNever() {
	there := make(map[dbc.Identifier]bool)
	for _, v := range append(s.variants, variant{signals: s.always}) {
		for _, by := range v.switches {
			there[by.Name] = true
		}
		for _, signal := range v.signals {
			there[signal.Name] = true
		}
	}
	for i := range s.def.Signals {
		if name := s.def.Signals[i].Name; !there[name] {
			s.never = append(s.never, fmt.Sprintf("%s is never there", name))
		}
	}
}

// reaches tells whether a switch is another one, or decides about it.
func (s *switching) reaches(from *dbc.SignalDef, name dbc.Identifier) bool {
	return from.Name == name || slices.ContainsFunc(s.children[from.Name], func(c child) bool { return s.reaches(c.SignalDef, name) })
}

// branch adds a variant for each value of a switch, or several where that decides about
// another switch.
func (s *switching) branch(by *dbc.SignalDef, so variant) (why string) {
	so.switches = append(slices.Clip(so.switches), by)
	if why = s.placed(so.switches); why != "" {
		return fmt.Sprintf("its switch %s has no place: %s", by.Name, why)
	}
	for _, value := range s.valuesOf(by) {
		next := variant{so.switches, append(slices.Clip(so.values), value), slices.Clip(so.signals)}
		var deeper []*dbc.SignalDef
		for _, c := range s.children[by.Name] {
			switch {
			case !slices.ContainsFunc(c.values, func(r mapping.Raws) bool { return r.First <= value && value <= r.Last }):
			case len(s.valuesOf(c.SignalDef)) > 0:
				deeper = append(deeper, c.SignalDef)
			default:
				next.signals = append(next.signals, *c.SignalDef)
			}
		}
		switch {
		case len(deeper) > 1:
			return fmt.Sprintf("%s and %s each say which signals are there", deeper[0].Name, deeper[1].Name)
		case len(deeper) == 1:
			why = s.branch(deeper[0], next)
		default:
			s.variants = append(s.variants, next)
		}
		if len(s.variants) > mapping.MaxShared {
			return fmt.Sprintf("the values of its switches are more than the %d messages that can share an id", mapping.MaxShared)
		}
		if why != "" {
			return why
		}
	}
	return ""
}

// valuesOf are the values of a switch at which some signal is there, as far as it can
// have them: ascending, and one more than can be told apart at most.
func (s *switching) valuesOf(by *dbc.SignalDef) (values []uint64) {
	most := uint64(math.MaxUint64) >> (64 - min(by.Size, 64))
	for _, c := range s.children[by.Name] {
		for _, r := range c.values {
			if r.Last > most {
				s.tellBeyond(by, max(r.First, most+1))
			}
			for value := r.First; value <= min(r.Last, most) && value-r.First <= mapping.MaxShared; value++ {
				values = append(values, value)
			}
		}
	}
	slices.Sort(values)
	return slices.Compact(values)
}

// tellBeyond notes a value that a switch never has.
func (s *switching) tellBeyond(by *dbc.SignalDef, value uint64) {
	text := fmt.Sprintf("%s has %d bits and is never %d", by.Name, by.Size, value)
	if !slices.Contains(s.never, text) {
		s.never = append(s.never, text)
	}
}

// placed says why switches cannot stand where they should, "" if they can.
func (s *switching) placed(switches []*dbc.SignalDef) (why string) {
	taken := make(map[bitPlace]string)
	for _, by := range switches {
		f := field{name: string(by.Name), bits: int(min(by.Size, math.MaxUint8))}
		if by.Size == 0 || by.Size > 64 {
			return fmt.Sprintf("it has %d bits, and a field 1 to 64", by.Size)
		}
		if why = f.put(s.def, by, taken); why != "" {
			return why
		}
	}
	return ""
}
