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
	keys := regexp.MustCompile(`"([a-z_]+_(?:v|a|w|ah|pct|c|s|allowed))"|(?:bank|record)\.([a-z_]+)`).FindAllStringSubmatch(script, -1)
	if len(keys) < 15 {
		t.Fatalf("found only %d keys in the script", len(keys))
	}
	for _, m := range keys {
		if key := m[1] + m[2]; !isKey(key) {
			t.Errorf("the script reads %q, which no record has", key)
		}
	}
}

// The page stops showing a state when the server does.
func TestPageAndServerAgreeOnOverdue(t *testing.T) {
	if want := "const overdue = 10;"; !strings.Contains(pageText(t, "/live.js"), want) || Overdue.Seconds() != 10 {
		t.Errorf("the script does not say %q, or Overdue is %v", want, Overdue)
	}
}
