package mapping

import (
	"math"
	"regexp"
	"strings"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

var letName = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_]*$`)

var letForm = document.Form{Type: "string", Pattern: letName.String()}

// meaning reads what a field is: a quantity, a name for later, alarms.
func (l *loader) meaning(o *document.Object, f *Field) {
	f.Let = l.letName(o.Get("let"))
	if l.registers {
		f.Derive = l.derivation(o.Get("derive"))
	} else {
		l.equals(o, f)
		f.Rolling = o.Flag("rolling")
	}
	is := o.Get("is")
	if f.Address = is != nil && !l.registers && is.Text == addressKey; f.Address {
		l.Takes(is, document.Form{Type: "string", Choices: []string{addressKey}})
	} else if is != nil {
		f.Target = l.target(is)
		if t := f.Target; t != nil && t.Quantity.Row().Kind.List() && !strings.HasSuffix(is.Text, "]") {
			l.Report(is, RuleQuantity, "%s is a list: write %s[] for all of it, or %s[5] to begin at the fifth", is.Text, is.Text, is.Text)
		}
	}
	l.states(o, f)
	if n := o.Get(alarmsKey); n != nil && l.Object(n, "alarms") != nil {
		l.alarms(n, f)
	}
}

// equals reads the constant of a field that tells messages apart.
func (l *loader) equals(o *document.Object, f *Field) {
	n := o.Get("equals")
	switch {
	case n == nil:
	case !f.Type.numeric():
		l.Report(n, RuleType, "equals is for numbers and bits; %s is text", f.Type.Name)
	default:
		f.Equals = &Constant{Raw: l.raw(n, "equals", f.Type.Bits)}
	}
}

// letName reads the name of a field.
func (l *loader) letName(n *document.Node) string {
	l.Takes(n, letForm)
	name := l.Text(n, "the name (let) of a field")
	_, quantity := pack.ByKey(name)
	switch {
	case name == "":
	case quantity || name == alarmsKey:
		l.Report(n, RuleName, "%q is a key of the record already: write is: %s, or choose another name", name, name)
	case !letName.MatchString(name):
		l.Report(n, RuleName, "a field's name must be letters, digits and underscores; this is %q", name)
	}
	return name
}

func (l *loader) alarms(n *document.Node, f *Field) {
	used := make(map[uint64]bool)
	for _, p := range n.Pairs {
		other := f.Type.Base == Unsigned && p.Key.Text == otherKey
		slot, before := uint64(0), l.Reports()
		if !other {
			if slot = l.alarmSlot(p.Key, f); used[slot] && l.Reports() == before {
				l.Report(p.Key, RuleTwice, "place %d stands twice; write both alarms behind one, [[kind, level], [kind, level]]", slot)
			}
			used[slot] = true
		}
		several := []*document.Node{p.Value}
		if len(p.Value.Items) > 0 && p.Value.Items[0].Kind == document.List {
			several = p.Value.Items
		}
		for i, item := range several {
			if a, ok := l.alarm(item); ok {
				f.Alarms = append(f.Alarms, AlarmSlot{slot, other, a, i == 0})
			}
		}
	}
}

// alarmSlot reads which bit, pair or code stands for an alarm.
func (l *loader) alarmSlot(n *document.Node, f *Field) uint64 {
	if f.Type.Base == Unsigned {
		before, code := l.Reports(), l.raw(n, "the code of an alarm", f.Type.Bits)
		if code == f.Off && l.Reports() == before {
			l.Report(n, RuleAlarm, "%d is the code for no alarm; if another one is, say so, as in off: 255", code)
		}
		return code
	}
	slots := uint64(f.Type.Bits)
	if f.Type.Base == Pairs {
		slots /= 2
	}
	slot := uint64(l.Int(n, "an alarm's place", 0, math.MaxUint16))
	if slot >= slots {
		l.Report(n, RuleAlarm, "%s has places 0 to %d; there is no %d", f.Type.Name, slots-1, slot)
	}
	return slot
}

// states reads which raw states of a pair are on and off, and which code is no
// alarm.
func (l *loader) states(o *document.Object, f *Field) {
	f.On, f.Off = 1, 0
	switch {
	case f.Type.Base == Pairs:
		f.On, f.Off = uint64(o.Int("on", 1, 0, 3)), uint64(o.Int("off", 2, 0, 3))
		if f.On == f.Off {
			l.Report(f.Place, RuleAlarm, "a pair cannot be on and off by the same bits: on and off are both %d", f.On)
		}
	case f.Type.Base == Unsigned && o.Node.Get(alarmsKey) != nil:
		if n := o.Get("off"); n != nil {
			f.Off = l.raw(n, "off", f.Type.Bits)
		}
		o.Only("in pairs", "on")
	default:
		o.Only("beside alarms in pairs or codes", "on", "off")
	}
}

func (l *loader) alarm(n *document.Node) (pack.Alarm, bool) {
	if n.Kind != document.List || len(n.Items) != 2 {
		l.Report(n, RuleAlarm, "an alarm is [kind, level], such as [cell_overvoltage, protection]")
		return pack.Alarm{}, false
	}
	l.Takes(n.Items[0], document.Form{Type: "string", Choices: pack.AlarmKinds()})
	l.Takes(n.Items[1], document.Form{Type: "string", Choices: pack.AlarmLevels()})
	a, ok := pack.ParseAlarm(n.Items[0].Text, n.Items[1].Text)
	if !ok {
		l.Report(n, RuleAlarm, "%q with %q is no alarm; the kinds are %s; the levels are %s", n.Items[0].Text, n.Items[1].Text,
			strings.Join(pack.AlarmKinds(), ", "), strings.Join(pack.AlarmLevels(), ", "))
	}
	return a, ok
}
