package pack

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// closedKinds is the closed list of DESIGN.md, section 3 "Neutral status".
const closedKinds = `cell_overvoltage cell_undervoltage pack_overvoltage pack_undervoltage charge_overcurrent discharge_overcurrent short_circuit overtemperature
	undertemperature charge_overtemperature charge_undertemperature discharge_overtemperature discharge_undertemperature switch_overtemperature
	ambient_overtemperature ambient_undertemperature cell_imbalance temperature_imbalance current_imbalance low_charge contactor_fault switch_fault
	internal_fault communication_lost other`

func TestAlarmKindsAreTheClosedList(t *testing.T) {
	if want := strings.Fields(closedKinds); !slices.Equal(AlarmKinds(), want) {
		t.Errorf("the kinds are %v, want %v", AlarmKinds(), want)
	}
	if want := []string{"warning", "protection"}; !slices.Equal(AlarmLevels(), want) || alarmLevels[Warning] != "warning" || alarmLevels[Protection] != "protection" {
		t.Errorf("the levels are %v, want %v", AlarmLevels(), want)
	}
}

// Each alarm has a name of its own and a bit of its own.
func TestEveryAlarm(t *testing.T) {
	var all uint64
	for _, kind := range AlarmKinds() {
		for _, level := range AlarmLevels() {
			a, ok := ParseAlarm(kind, level)
			if !ok || a.String() != kind+" "+level || all&a.Bit() != 0 || a.Bit() == 0 {
				t.Errorf("%s %s is %v, %v, bit %#x of %#x", kind, level, a, ok, a.Bit(), all)
			}
			all |= a.Bit()
		}
	}
	if listed := slices.Collect(AlarmSet{Active: all}.All()); len(listed) != len(alarmKinds)*len(alarmLevels) {
		t.Errorf("of all alarms %d are listed", len(listed))
	}
}

func TestParseAlarmRefuses(t *testing.T) {
	for _, c := range [][2]string{
		{"", ""}, {"other", ""}, {"", "warning"}, {"other", "alarm"}, {"fire", "warning"}, {"Other", "warning"},
		{"other", "WARNING"}, {"other ", "warning"}, {"warning", "other"}, {"cell-overvoltage", "warning"},
	} {
		if a, ok := ParseAlarm(c[0], c[1]); ok {
			t.Errorf("%q is %v, want none", c, a)
		}
	}
}

func TestAlarmSet(t *testing.T) {
	low, _ := ParseAlarm("low_charge", "warning")
	short, _ := ParseAlarm("short_circuit", "protection")
	var s AlarmSet
	if active, known := s.State(low); active || known {
		t.Errorf("the zero value knows an alarm: %v, %v", active, known)
	}
	s.Set(low, true)
	s.Set(short, false)
	s.Set(low, true)
	if active, known := s.State(low); !active || !known {
		t.Errorf("an active alarm is %v, %v", active, known)
	}
	if active, known := s.State(short); active || !known {
		t.Errorf("an alarm that is off is %v, %v", active, known)
	}
	s.Set(low, false)
	if active, known := s.State(low); active || !known || len(slices.Collect(s.All())) != 0 {
		t.Errorf("an alarm that was taken back is %v, %v", active, known)
	}
	for range (AlarmSet{Active: 7}).All() { // stops when it is told to
		break
	}
}

func TestMergeOfAlarms(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) AlarmSet {
			known := drawAlarms(t, name)
			return AlarmSet{Active: known & drawAlarms(t, name+" active"), Known: known}
		}
		a, b := draw("a"), draw("b")
		merged := a.Merge(b)
		if merged != b.Merge(a) || a.Merge(a) != a || a.Merge(AlarmSet{}) != a {
			t.Fatalf("%+v and %+v merge to %+v", a, b, merged)
		}
		var listed []Alarm
		for k := range alarmKinds {
			for l := range alarmLevels {
				alarm := Alarm{AlarmKind(k), AlarmLevel(l)}
				activeA, knownA := a.State(alarm)
				activeB, knownB := b.State(alarm)
				if active, known := merged.State(alarm); active != (activeA || activeB) || known != (knownA || knownB) {
					t.Fatalf("%v is %v, %v", alarm, active, known)
				} else if active {
					listed = append(listed, alarm)
				}
			}
		}
		if got := slices.Collect(merged.All()); !slices.Equal(got, listed) {
			t.Fatalf("listed are %v, want %v in this order", got, listed)
		}
	})
}
