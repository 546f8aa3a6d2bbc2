package draft

import (
	"regexp"
	"strconv"
	"strings"

	"go.einride.tech/can/pkg/dbc"

	"packlink/mapping"
)

// The parts of extended multiplexing (common practice among DBC files, no source)
// that the parser does not read: a switch that itself depends on one, as in
// "SG_ Part m1M :", and statements which values of which switch a signal needs, as in
// "SG_MUL_VAL_ 800 Whole Kind 0-0, 3-4;".
var (
	nestedSwitch = regexp.MustCompile(`(SG_\s+[A-Za-z_]\w*\s+m\d+)M(\s*:)`)
	switchValues = regexp.MustCompile(`(?m)^[ \t]*SG_MUL_VAL_\s+(\d+)\s+(\w+)\s+(\w+)\s+(\d+\s*-\s*\d+(?:\s*,\s*\d+\s*-\s*\d+)*)\s*;`)
)

// presence says at which values of a switch a signal is there.
type presence struct {
	by     dbc.Identifier
	values []mapping.Raws
	other  dbc.Identifier // a further switch that it is said to depend on; "" if there is none
}

// extended takes extended multiplexing out of a file's text, and keeps what it says.
func (d *database) extended(text []byte) []byte {
	d.nested, d.presences = make(map[int]bool), make(map[owner]presence)
	for _, at := range nestedSwitch.FindAllIndex(text, -1) {
		d.nested[at[0]] = true
	}
	text = nestedSwitch.ReplaceAll(text, []byte("$1 $2"))
	return switchValues.ReplaceAllFunc(text, func(statement []byte) []byte {
		d.presence(switchValues.FindSubmatch(statement))
		return notNewline.ReplaceAll(statement, []byte(" ")) // so that places stay
	})
}

var notNewline = regexp.MustCompile(`[^\n]`)

// presence keeps one statement. Numbers beyond 64 bits are the greatest.
func (d *database) presence(parts [][]byte) {
	number := func(text string) uint64 {
		n, _ := strconv.ParseUint(strings.TrimSpace(text), 10, 64)
		return n
	}
	key := owner{dbc.MessageID(number(string(parts[1]))), dbc.Identifier(parts[2])}
	p, by := d.presences[key], dbc.Identifier(parts[3])
	switch p.by {
	case "":
		p.by = by
	case by:
	default:
		p.other = by
	}
	for span := range strings.SplitSeq(string(parts[4]), ",") {
		first, last, _ := strings.Cut(span, "-")
		p.values = append(p.values, mapping.Raws{First: number(first), Last: number(last)})
	}
	d.presences[key] = p
}
