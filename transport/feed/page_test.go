package feed

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"packlink/decode/pack"
)

func pageText(t *testing.T, path string) string {
	t.Helper()
	w := ask(NewHTTP(), "GET", path)
	if w.Code != 200 || w.Body.Len() == 0 {
		t.Fatalf("%s: got %d", path, w.Code)
	}
	return w.Body.String()
}

func TestPageSaysWhatItIs(t *testing.T) {
	text := pageText(t, "/")
	for _, words := range []string{"monitoring aid, not a protection device", "Local codes and licensed practice govern the work", `name="viewport"`} {
		if !strings.Contains(text, words) {
			t.Errorf("the page does not say %q", words)
		}
	}
}

// The page takes nothing from elsewhere: everything it refers to is a route,
// and nothing is in-line, as its Content-Security-Policy refuses that.
func TestPageStandsAlone(t *testing.T) {
	text := pageText(t, "/")
	for _, m := range regexp.MustCompile(`(?:href|src)="([^"]*)"`).FindAllStringSubmatch(text, -1) {
		if _, found := routes["/"+m[1]]; !found {
			t.Errorf("the page refers to %q, which is no path of ours", m[1])
		}
	}
	if inline := regexp.MustCompile(`<style|style=|<script>| on[a-z]+=`).FindString(text); inline != "" {
		t.Errorf("the page has in-line %q", inline)
	}
	for _, path := range []string{"/", "/live.js", "/live.css"} {
		if other := regexp.MustCompile(`https?:|@import|url\(|innerHTML|eval\(`).FindString(pageText(t, path)); other != "" {
			t.Errorf("%s has %q", path, other)
		}
	}
}

// The script reads the keys of the record by name: each must be one.
func TestPageReadsKnownKeys(t *testing.T) {
	isKey := func(key string) bool {
		_, quantity := pack.ByKey(key)
		return quantity || slices.ContainsFunc(pack.RecordKeys, func(k pack.RecordKey) bool { return k.Key == key })
	}
	script := pageText(t, "/live.js")
	keys := regexp.MustCompile(`"([a-z_]+_(?:v|a|w|ah|pct|c|s|allowed|at|pack))"|(?:bank|record)\.([a-z_]+)`).FindAllStringSubmatch(script, -1)
	if len(keys) < 15 {
		t.Fatalf("found only %d keys in the script", len(keys))
	}
	for _, m := range keys {
		if key := m[1] + m[2]; !isKey(key) {
			t.Errorf("the script reads %q, which no record has", key)
		}
	}
}

// A limit is not taken for a state, and the state of the current, both limits of the
// voltage, the numbers of the outermost cells and the time of day are shown.
func TestPageTellsLimitsFromStates(t *testing.T) {
	script := pageText(t, "/live.js")
	for _, want := range []string{
		`["charge", "charge_allowed"`, `["discharge", "discharge_allowed"`, `" limit"`, `["upper voltage limit", "charge_voltage_limit_v"`, `["lower voltage limit", "discharge_voltage_limit_v"`, `["current", "current_a", 1, "A", direction]`, `> 0 ? "charging"`, `< 0 ? "discharging"`,
		`"cell_min_at"`, `"cell_max_at"`, `"cell_min_pack"`, `"cell_max_pack"`, "new Date(bank.time).toLocaleTimeString()",
	} {
		if !strings.Contains(script, want) {
			t.Errorf("the script does not hold %q", want)
		}
	}
}

// The page stops showing a state when the server does.
func TestPageAndServerAgreeOnOverdue(t *testing.T) {
	if want := "const overdue = 10;"; !strings.Contains(pageText(t, "/live.js"), want) || Overdue.Seconds() != 10 {
		t.Errorf("the script does not say %q, or Overdue is %v", want, Overdue)
	}
}
