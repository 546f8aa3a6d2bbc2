package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// rows are what a person finds on the page for a key of a record.
var rows = map[string]struct {
	key, unit string
	places    int
}{
	"voltage": {"voltage_v", "V", 2}, "current": {"current_a", "A", 1}, "power": {"power_w", "W", 0},
	"state of charge": {"soc_pct", "%", 1}, "remaining": {"remaining_ah", "Ah", 1}, "health": {"soh_pct", "%", 1},
	"lowest cell": {"cell_min_v", "V", 3}, "highest cell": {"cell_max_v", "V", 3}, "spread": {"cell_spread_v", "V", 3},
	"coldest": {"temp_min_c", "°C", 1}, "warmest": {"temp_max_c", "°C", 1}, "temperature": {"temp_c", "°C", 1},
	"upper voltage limit": {"charge_voltage_limit_v", "V", 1}, "lower voltage limit": {"discharge_voltage_limit_v", "V", 1},
	"charge limit": {"charge_current_limit_a", "A", 1}, "discharge limit": {"discharge_current_limit_a", "A", 1},
}

// shown are the rows of the page's sections, and the cells of each: first the bank's,
// then each pack's.
type shown struct {
	Rows  map[string]string
	Cells []string
}

const readSections = `[...document.querySelectorAll("section")].map((section) => ({
	rows: Object.fromEntries([...section.querySelectorAll("dl div")].map((row) => [row.querySelector("dt").innerText, row.querySelector("dd").innerText])),
	cells: [...section.querySelectorAll(".cells li")].map((cell) => cell.innerText),
}))`

// inTime is a record's value, nil if it is overdue.
func inTime(record object, key string) any {
	if stale, _ := record["stale"].([]any); slices.Contains(stale, any(key)) {
		return nil
	}
	return record[key]
}

// differs says where the page does not show what the record says.
func (s *shown) differs(record object) string {
	for label, row := range rows {
		text, found := s.Rows[label]
		value, known := inTime(record, row.key).(float64)
		if found != known {
			return fmt.Sprintf("%s is %q, and the record says %v", label, text, record[row.key])
		}
		number, unit, _ := strings.Cut(strings.ReplaceAll(text, "−", "-"), "\u00a0")
		got, err := strconv.ParseFloat(number, 64)
		if known && (err != nil || unit != row.unit || math.Abs(got-value) > 0.5001*math.Pow10(-row.places)) {
			return fmt.Sprintf("%s is %q, and the record says %v", label, text, value)
		}
	}
	for label := range s.Rows {
		if _, known := rows[label]; !known {
			return "there is a row " + label
		}
	}
	return s.cellsDiffer(record)
}

func (s *shown) cellsDiffer(record object) string {
	cells, _ := inTime(record, "cells_v").([]any)
	if len(cells) != len(s.Cells) {
		return fmt.Sprintf("%d cells, and the record has %d", len(s.Cells), len(cells))
	}
	for i, volts := range cells {
		if want := fmt.Sprintf("%d\n%.3f\u00a0V", i+1, volts); s.Cells[i] != want {
			return fmt.Sprintf("a cell is %q, not %q", s.Cells[i], want)
		}
	}
	return ""
}

// agrees waits until the page shows what /v1/bank and /v1/packs say at the moment.
func (b *browser) agrees() {
	b.Helper()
	b.until(func() string {
		var now struct {
			Bank  object
			Packs []object
			Page  []shown
		}
		b.evaluate(`(async () => {
			const [bank, packs] = await Promise.all(["v1/bank", "v1/packs"].map(async (path) => (await fetch(path)).json()));
			return {bank, packs, page: `+readSections+`};
		})()`, &now)
		for i, record := range append([]object{now.Bank}, now.Packs...) {
			if len(now.Page) <= i {
				return fmt.Sprintf("there are only %d sections", len(now.Page))
			}
			if text := now.Page[i].differs(record); text != "" {
				return fmt.Sprintf("section %d: %s", i, text)
			}
		}
		return ""
	})
}
