package feed

import (
	"maps"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"packlink/decode/bank"
	"packlink/decode/pack"

	"pgregory.net/rapid"
)

// scrape reads the metrics of a bank through the checker.
func scrape(t rapid.TB, b *bank.Bank) exposition {
	t.Helper()
	h := NewHTTP()
	h.Publish(b, healthy())
	w := ask(h, "GET", "/metrics")
	got, err := check(w.Body.String())
	if err != nil {
		t.Fatalf("not OpenMetrics: %v\n%s", err, w.Body)
	}
	return got
}

func TestMetrics(t *testing.T) {
	got := scrape(t, boathouse())
	for key, want := range map[string]string{
		`packlink_pack_voltage_volts{source="left",address="1"}`:                                      "52.81",
		`packlink_pack_current_amperes{source="left",address="2"}`:                                    "-13.6",
		`packlink_pack_power_watts{source="left",address="2"}`:                                        "-718.216",
		`packlink_pack_soc_ratio{source="left",address="1"}`:                                          "0.878",
		`packlink_pack_full_ampere_hours{source="left",address="1"}`:                                  "100",
		`packlink_pack_time_to_empty_seconds{source="left",address="1"}`:                              "3600",
		`packlink_pack_cycles{source="left",address="1"}`:                                             "12",
		`packlink_pack_cells_volts{source="left",address="1",cell="2"}`:                               "3.289",
		`packlink_pack_temps_celsius{source="left",address="1",sensor="1"}`:                           "-2.5",
		`packlink_pack_balancing{source="left",address="1",cell="2"}`:                                 "1",
		`packlink_pack_charge_allowed{source="left",address="1"}`:                                     "1",
		`packlink_pack_alarm{source="left",address="1",kind="discharge_overcurrent",level="warning"}`: "1",
		`packlink_pack_alarm{source="left",address="1",kind="cell_overvoltage",level="warning"}`:      "0",
		`packlink_pack_info{source="left",address="1",mapping="invented",model="A \"100\"\\B"}`:       "1",
		`packlink_bank_voltage_volts{bank="boathouse"}`:                                               "52.81",
		`packlink_bank_nominal_ampere_hours{bank="boathouse"}`:                                        "200",
		`packlink_bank_packs_fresh{bank="boathouse"}`:                                                 "2",
		`packlink_bank_alarm{bank="boathouse",kind="discharge_overcurrent",level="warning"}`:          "1",
		`packlink_bank_info{bank="boathouse",model="A \"100\"\\B"}`:                                   "1",
		`packlink_source_fresh{source="left"}`:                                                        "1",
	} {
		if got[key] != want {
			t.Errorf("%s is %q, want %q", key, got[key], want)
		}
	}
	for key := range got {
		if strings.Contains(key, `cell="1"`) && strings.Contains(key, "balancing") {
			t.Errorf("%s is shown, and it is not known", key)
		}
	}
}

func TestMetricsHeaders(t *testing.T) {
	w := ask(shown(), "GET", "/metrics")
	if got := w.Header().Get("Content-Type"); got != "application/openmetrics-text; version=1.0.0; charset=utf-8" {
		t.Errorf("content type %q", got)
	}
	want := "# TYPE packlink_pack_voltage_volts gauge\n# UNIT packlink_pack_voltage_volts volts\n# HELP packlink_pack_voltage_volts voltage at the terminals\n" +
		"packlink_pack_voltage_volts{source=\"left\",address=\"1\"} 52.81\npacklink_pack_voltage_volts{source=\"left\",address=\"2\"} 52.81\n"
	if !strings.Contains(w.Body.String(), want) {
		t.Errorf("this family is missing:\n%s\nin\n%s", want, w.Body)
	}
	if strings.Contains(w.Body.String(), "temp_switch") {
		t.Errorf("there is a family without samples:\n%s", w.Body)
	}
}

// Metrics cannot mark a value, so an overdue or suspect one is not shown, and
// an overdue permission forbids.
func TestMetricsWithholdWhatIsNotTrusted(t *testing.T) {
	b := boathouse(2)
	b.Packs[0].Put(pack.SOC, pack.Value{Coef: 140, At: noon, Trust: pack.Known | pack.Above})
	b.Packs[0].PutElement(pack.Cells, 0, pack.Value{Coef: 9, At: noon, Trust: pack.Known | pack.Above})
	b.Packs[0].Put(pack.Model, pack.Value{At: noon, Trust: pack.Known | pack.Stale})
	got := scrape(t, b)
	var second []string
	for _, key := range slices.Sorted(maps.Keys(got)) {
		if strings.Contains(key, `address="2"`) {
			second = append(second, key+" "+got[key])
		}
		if strings.Contains(key, `_soc_ratio{source="left",address="1"`) || strings.Contains(key, `address="1",cell="1"`) || strings.Contains(key, `address="1",mapping="invented",model`) {
			t.Errorf("%s is shown, and it is not trusted", key)
		}
	}
	want := []string{
		`packlink_pack_age_seconds{source="left",address="2"} ` + got[`packlink_pack_age_seconds{source="left",address="2"}`],
		`packlink_pack_charge_allowed{source="left",address="2"} 0`,
		`packlink_pack_charge_current_limit_amperes{source="left",address="2"} 0`,
		`packlink_pack_info{source="left",address="2",mapping="invented"} 1`,
	}
	if !slices.Equal(second, want) {
		t.Errorf("of the overdue pack, got\n%s\nwant\n%s", strings.Join(second, "\n"), strings.Join(want, "\n"))
	}
}

// An age goes on while nothing is published.
func TestMetricsAge(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := shown()
		time.Sleep(2250 * time.Millisecond)
		got, err := check(ask(h, "GET", "/metrics").Body.String())
		if err != nil {
			t.Fatal(err)
		}
		for _, key := range []string{`packlink_pack_age_seconds{source="left",address="2"}`, `packlink_bank_age_seconds{bank="boathouse"}`} {
			if got[key] != "2.75" {
				t.Errorf("%s is %q, want 2.75", key, got[key])
			}
		}
	})
}

// Each quantity of the catalogue but the texts has a name with a spelled-out
// unit, and no two have the same.
func TestMetricNamesCoverTheCatalogue(t *testing.T) {
	names := map[string]pack.Quantity{}
	for q := range pack.Count {
		row := q.Row()
		name := family{"packlink_pack", row.Key, row.Unit, row.Doc}.name()
		if other, twice := names[name]; twice {
			t.Errorf("%v and %v are both %s", q, other, name)
		}
		names[name] = q
		word := unitWords[row.Unit]
		if row.Unit != "" && (word == "" || !strings.HasSuffix(name, "_"+word)) {
			t.Errorf("%v in %s is called %s", q, row.Unit, name)
		}
	}
}

// Any name and any text gives a text that a strict reader accepts.
func TestMetricsOfAnyNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := boathouse()
		b.Name = rapid.String().Draw(t, "bank")
		for i := range b.Packs {
			text := rapid.SliceOfN(rapid.Byte(), 1, 40).Draw(t, "serial")
			b.Packs[i].PutText(pack.Serial, text, pack.Value{At: noon, Trust: pack.Known})
			b.Packs[i].Source = string(rapid.SliceOfN(rapid.SampledFrom([]byte("a\"\\\n\r,{}=\xff")), 0, 9).Draw(t, "source"))
		}
		scrape(t, b)
	})
}

// The checker itself refuses what it should.
func TestCheckerRefuses(t *testing.T) {
	head := "# TYPE a_volts gauge\n# UNIT a_volts volts\n# HELP a_volts text\n"
	for name, text := range map[string]string{
		"no end":                   head + "a_volts 1\n",
		"text after the end":       head + "a_volts 1\n# EOF\n\n",
		"two ends":                 "# EOF\n# EOF\n",
		"no line end":              head + "a_volts 1\n# EOF",
		"an empty line":            head + "\na_volts 1\n# EOF\n",
		"help before type":         "# HELP a_volts text\n# TYPE a_volts gauge\na_volts 1\n# EOF\n",
		"unit after help":          "# TYPE a_volts gauge\n# HELP a_volts text\n# UNIT a_volts volts\na_volts 1\n# EOF\n",
		"a wrong unit":             "# TYPE a_volts gauge\n# UNIT a_volts amperes\na_volts 1\n# EOF\n",
		"metadata after a sample":  "# TYPE a gauge\na 1\n# HELP a text\n# EOF\n",
		"a family twice":           "# TYPE a gauge\na 1\n# TYPE b gauge\nb 1\n# TYPE a gauge\n# EOF\n",
		"an interrupted family":    "# TYPE a gauge\na{x=\"1\"} 1\n# TYPE b gauge\na{x=\"2\"} 1\n# EOF\n",
		"a sample twice":           "# TYPE a gauge\na{x=\"1\"} 1\na{x=\"1\"} 2\n# EOF\n",
		"a label twice":            "# TYPE a gauge\na{x=\"1\",x=\"2\"} 1\n# EOF\n",
		"a comma too many":         "# TYPE a gauge\na{x=\"1\",} 1\n# EOF\n",
		"an unescaped quote":       "# TYPE a gauge\na{x=\"\"\"} 1\n# EOF\n",
		"an unknown escape":        "# TYPE a gauge\na{x=\"\\t\"} 1\n# EOF\n",
		"a number that is none":    "# TYPE a gauge\na 1,5\n# EOF\n",
		"a missing number":         "# TYPE a gauge\na \n# EOF\n",
		"two blanks":               "# TYPE a gauge\na  1\n# EOF\n",
		"a carriage return":        "# TYPE a gauge\na 1\r\n# EOF\n",
		"info without its ending":  "# TYPE a info\na 1\n# EOF\n",
		"info that is not 1":       "# TYPE a info\na_info 2\n# EOF\n",
		"a name with a dash":       "# TYPE a-b gauge\na-b 1\n# EOF\n",
		"an unknown type":          "# TYPE a number\na 1\n# EOF\n",
		"bytes that are not UTF-8": "# TYPE a gauge\na{x=\"\xff\"} 1\n# EOF\n",
		"a quote in the help text": "# TYPE a gauge\n# HELP a \"x\"\na 1\n# EOF\n",
	} {
		if got, err := check(text); err == nil {
			t.Errorf("%s: accepted as %v", name, got)
		}
	}
	if _, err := check(head + "a_volts{x=\"\\\"\\\\\\n\"} -1.50\n# TYPE b info\nb_info{c=\"1\"} 1\n# EOF\n"); err != nil {
		t.Errorf("a good text is refused: %v", err)
	}
}
