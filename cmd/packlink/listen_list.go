package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"packlink/decode/pack"
)

// screenLists are the lists of a pack's table.
var screenLists = []struct {
	name     string
	quantity pack.Quantity
}{{"cells", pack.Cells}, {"sensors", pack.Temps}}

// legend explains the lists of a screen.
func legend() string {
	var units []string
	for _, list := range screenLists {
		units = append(units, list.name+" in "+list.quantity.Row().Unit)
	}
	return strings.Join(units, ", ") + "; ^ highest, v lowest"
}

// hasLists tells whether a pack's table has lists.
func hasLists(s *pack.Status) bool {
	for _, list := range screenLists {
		if s.Fresh && s.Has(list.quantity) {
			return true
		}
	}
	return false
}

// listLines are a list as lines, all values with the decimals of the finest; the
// highest value has a ^ behind it and the lowest a v.
func listLines(s *pack.Status, q pack.Quantity, name string, width int) (lines []string) {
	const indent, column = 12, 8
	if !s.Has(q) {
		return nil
	}
	texts := listTexts(s.Elements(q))
	start := 0
	for part := range slices.Chunk(texts, max(1, (width-indent)/column)) {
		line := fmt.Sprintf("  %-9s ", fmt.Sprintf("%s %d", name, start+1))
		for _, text := range part {
			line += fmt.Sprintf("%-*s", column, text)
		}
		lines = append(lines, strings.TrimRight(line, " "))
		start += len(part)
	}
	return lines
}

// listTexts are the values of a list with their marks, "-" for one not known.
func listTexts(elements []pack.Value) (texts []string) {
	finest := 0
	for _, v := range elements {
		finest = max(finest, places(v.Decimal()))
	}
	low, high := extremes(elements)
	for i, v := range elements {
		text := "-"
		if v.Trust&pack.Known != 0 {
			text = fixed(v.Decimal(), finest)
		}
		texts = append(texts, text+map[int]string{low: "v", high: "^"}[i])
	}
	return texts
}

// places is how many decimals a number has.
func places(d pack.Decimal) int {
	_, fraction, _ := strings.Cut(d.String(), ".")
	return len(fraction)
}

// fixed is a number with so many decimals.
func fixed(d pack.Decimal, places int) string {
	return strconv.FormatFloat(d.Float64(), 'f', places, 64)
}

// extremes are the places of the lowest and the highest value that can be
// trusted, -1 if there are none.
func extremes(elements []pack.Value) (low, high int) {
	low, high = -1, -1
	for i, v := range elements {
		if v.Trust != pack.Known {
			continue
		}
		if low < 0 || v.Decimal().Cmp(elements[low].Decimal()) < 0 {
			low = i
		}
		if high < 0 || v.Decimal().Cmp(elements[high].Decimal()) > 0 {
			high = i
		}
	}
	return low, high
}
