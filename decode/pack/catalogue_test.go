package pack

import (
	"regexp"
	"slices"
	"strings"
	"testing"
)

// units are the endings of keys and their units: DESIGN.md, section 3 "Neutral
// status", "the unit is the key's suffix".
var units = map[string]string{"_v": "V", "_a": "A", "_w": "W", "_ah": "Ah", "_wh": "Wh", "_pct": "%", "_c": "degC", "_s": "s"}

// unitOf is the unit that a key's ending names, "" if it names none.
func unitOf(key string) string {
	if at := strings.LastIndexByte(key, '_'); at >= 0 {
		return units[key[at:]]
	}
	return ""
}

func TestUnitIsTheKeysEnding(t *testing.T) {
	for q := range Count {
		if r := q.Row(); r.Unit != unitOf(r.Key) {
			t.Errorf("%s: the unit is %q, and the ending says %q", r.Key, r.Unit, unitOf(r.Key))
		}
	}
	for _, k := range slices.Concat(RecordKeys, partKeys) {
		if k.Unit != unitOf(k.Key) {
			t.Errorf("%s: the unit is %q, and the ending says %q", k.Key, k.Unit, unitOf(k.Key))
		}
	}
}

func TestKeysAreUnique(t *testing.T) {
	form := regexp.MustCompile(`^[a-z]+(_[a-z]+)*$`)
	seen := map[string]bool{}
	check := func(key string) {
		if seen[key] || !form.MatchString(key) {
			t.Errorf("the key %q comes twice or is not in lower case", key)
		}
		seen[key] = true
	}
	for q := range Count {
		check(q.String())
		if got, ok := ByKey(q.String()); !ok || got != q {
			t.Errorf("ByKey(%q) is %v, %v", q, got, ok)
		}
	}
	for _, k := range RecordKeys {
		check(k.Key)
		if _, is := ByKey(k.Key); is {
			t.Errorf("%s is a quantity, and a mapping could write it", k.Key)
		}
	}
	for _, key := range []string{"", "voltage", "VOLTAGE_V", "voltage_v ", "cells_v[]"} {
		if q, ok := ByKey(key); ok {
			t.Errorf("ByKey(%q) is %v, want none", key, q)
		}
	}
}

func TestRowsAreComplete(t *testing.T) {
	for q := range Count {
		r := q.Row()
		if r.Doc == "" || r.Kind < Number || r.Kind > Flags || r.Kind.List() != (r.Max > 0) || strings.ContainsAny(r.Doc, "|\n") {
			t.Errorf("%s: %+v", r.Key, *r)
		}
		if !slices.ContainsFunc(groups, func(g struct{ name, title string }) bool { return g.name == r.Group }) {
			t.Errorf("%s stands in the group %q, which has no heading", r.Key, r.Group)
		}
		if (r.Kind == Word) != (int(q) < len(new(Status).texts)) {
			t.Errorf("%s: a status has no room for its text, or needs none", r.Key)
		}
		if permission := r.Group == "permission"; permission != (r.Overdue != Marked) {
			t.Errorf("%s: only a permission is dropped or withdrawn", r.Key)
		}
	}
}

// contract are the keys of DESIGN.md, section 3 "Neutral status: the JSON
// record (contract)": the table, and the bank record below it.
const contract = `time source address mapping maker model serial firmware hardware modules
	voltage_v current_a power_w
	soc_pct soh_pct remaining_ah full_ah nominal_ah remaining_wh cycles time_to_full_s time_to_empty_s
	cells_v cell_max_v cell_max_at cell_min_v cell_min_at cell_spread_v balancing
	temp_c temps_c temp_max_c temp_min_c temp_switch_c temp_ambient_c
	charge_voltage_limit_v discharge_voltage_limit_v charge_current_limit_a discharge_current_limit_a
	charge_allowed discharge_allowed full_charge_wanted charge_now_wanted
	alarms stale suspect age_s
	bank packs packs_fresh shares`

func TestEveryKeyOfTheContract(t *testing.T) {
	want := append(strings.Fields(contract), "cell_max_pack", "cell_min_pack", // a bank's extremes name their pack
		"made_on", "nominal_v", "nominal_wh") // a date of manufacture, and ratings that energy models have
	var got []string
	for q := range Count {
		got = append(got, q.String())
	}
	for _, k := range RecordKeys {
		got = append(got, k.Key)
	}
	slices.Sort(want)
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Errorf("the keys are\n%v, want\n%v", got, want)
	}
}

// forbidden are the quantities that become 0 or false when overdue: DESIGN.md,
// section 7 "Fail-safe", "permissions go to 0 A and not allowed".
func TestPermissionsFailSafe(t *testing.T) {
	forbidden := []Quantity{ChargeCurrentLimit, DischargeCurrentLimit, ChargeAllowed, DischargeAllowed}
	for q := range Count {
		if got, want := q.Row().Overdue == Forbids, slices.Contains(forbidden, q); got != want {
			t.Errorf("%v: overdue forbids: %v, want %v", q, got, want)
		}
	}
}

func TestQuantitiesMarkdown(t *testing.T) {
	text := string(QuantitiesMarkdown())
	for q := range Count {
		row := "| `" + q.String() + "` | " + q.Row().Unit + " | " + q.Row().shape() + " | "
		if strings.Count(text, row) != 1 {
			t.Errorf("%v stands %d times in the tables, want once", q, strings.Count(text, row))
		}
	}
	for _, key := range slices.Concat(strings.Fields(contract), AlarmKinds()) {
		if !strings.Contains(text, "`"+key+"`") {
			t.Errorf("%s is missing", key)
		}
	}
	columns := 0
	for line := range strings.Lines(text) {
		cells := strings.Count(line, "|")
		if columns > 0 && cells > 0 && cells != columns {
			t.Errorf("a row has %d bars, and the table %d: %s", cells, columns, line)
		}
		columns = cells
	}
	for _, want := range []string{"`charge_current_limit_a` | A | number | most charge current allowed now, as a magnitude | 0 |",
		"whether the pack may be charged now | false |", "| voltage at the terminals | marked |", "voltage that charging must not exceed | dropped |"} {
		if !strings.Contains(text, want) {
			t.Errorf("no row says %q", want)
		}
	}
}
