package pack

import (
	"iter"
	"math/bits"
)

// AlarmKind is what an alarm is about: one of a closed list.
type AlarmKind uint8

// alarmKinds are the names of the kinds. A protocol that does not tell cell
// from pack, or charge from discharge, uses the general kind.
var alarmKinds = [...]string{
	"cell_overvoltage", "cell_undervoltage", "pack_overvoltage", "pack_undervoltage",
	"charge_overcurrent", "discharge_overcurrent", "short_circuit",
	"overtemperature", "undertemperature",
	"charge_overtemperature", "charge_undertemperature",
	"discharge_overtemperature", "discharge_undertemperature",
	"switch_overtemperature", "ambient_overtemperature", "ambient_undertemperature",
	"cell_imbalance", "temperature_imbalance", "current_imbalance",
	"low_charge", "contactor_fault", "switch_fault", "internal_fault",
	"communication_lost", "other",
}

// Extreme is the list whose highest or lowest element an alarm of this kind is
// about, if it is about one.
func (k AlarmKind) Extreme() (list Quantity, highest, has bool) {
	switch alarmKinds[k] {
	case "cell_overvoltage":
		return Cells, true, true
	case "cell_undervoltage":
		return Cells, false, true
	case "overtemperature", "charge_overtemperature", "discharge_overtemperature":
		return Temps, true, true
	case "undertemperature", "charge_undertemperature", "discharge_undertemperature":
		return Temps, false, true
	}
	return 0, false, false
}

// AlarmLevel is how serious an alarm is.
type AlarmLevel uint8

// The levels of an alarm.
const (
	Warning    AlarmLevel = iota // the pack warns, and goes on
	Protection                   // the pack has switched something off
)

var alarmLevels = [...]string{"warning", "protection"}

// Alarm is one kind at one level.
type Alarm struct {
	Kind  AlarmKind
	Level AlarmLevel
}

// AlarmKinds are the names of all kinds, in the order of a record.
func AlarmKinds() []string { return alarmKinds[:] }

// AlarmLevels are the names of the levels.
func AlarmLevels() []string { return alarmLevels[:] }

// ParseAlarm finds an alarm by the names of its kind and level.
func ParseAlarm(kind, level string) (a Alarm, ok bool) {
	k, okKind := position(alarmKinds[:], kind)
	l, okLevel := position(alarmLevels[:], level)
	return Alarm{AlarmKind(k), AlarmLevel(l)}, okKind && okLevel
}

func position(names []string, name string) (int, bool) {
	for i, n := range names {
		if n == name {
			return i, true
		}
	}
	return 0, false
}

// String is "kind level".
func (a Alarm) String() string { return alarmKinds[a.Kind] + " " + alarmLevels[a.Level] }

// Bit is the alarm's place in an [AlarmSet].
func (a Alarm) Bit() uint64 { return 1 << (uint(a.Kind)*2 + uint(a.Level)) }

// AlarmSet holds which alarms are active and which a pack can tell about at
// all. The zero value knows nothing.
type AlarmSet struct {
	Active uint64 // bits of the alarms that are active
	Known  uint64 // bits of the alarms whose state is known
}

// Merge adds what another set knows. An alarm that either calls active is active.
func (s AlarmSet) Merge(other AlarmSet) AlarmSet {
	return AlarmSet{s.Active | other.Active, s.Known | other.Known}
}

// Set writes one alarm's state.
func (s *AlarmSet) Set(a Alarm, active bool) {
	s.Known |= a.Bit()
	s.Active &^= a.Bit()
	if active {
		s.Active |= a.Bit()
	}
}

// State is an alarm's state, and whether it is known.
func (s AlarmSet) State(a Alarm) (active, known bool) {
	return s.Active&a.Bit() != 0, s.Known&a.Bit() != 0
}

// All yields each active alarm, in the order of a record.
func (s AlarmSet) All() iter.Seq[Alarm] {
	return func(yield func(Alarm) bool) {
		for active := s.Active; active != 0; active &= active - 1 {
			bit := bits.TrailingZeros64(active)
			if !yield(Alarm{AlarmKind(bit / 2), AlarmLevel(bit % 2)}) {
				return
			}
		}
	}
}
