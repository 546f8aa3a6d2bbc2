package main

import (
	"fmt"
	"slices"
	"strings"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport/canbus"
)

// Control sequences of a terminal (ECMA-48): to the top left, clear to the end of
// the line, clear to the end of the screen.
const (
	home     = "\x1b[H"
	clearEOL = "\x1b[K"
	clearEOS = "\x1b[J"
)

// writeScreen draws the screen anew in place.
func (h *hearing) writeScreen(s *streams, now int64) error {
	width, height := terminalSize(s.out)
	_, err := fmt.Fprint(s.out, drawn(h.screen(now, width), width, height))
	return err
}

// drawn is lines cut to a terminal's size, drawn over what was there.
func drawn(lines []string, width, height int) string {
	if len(lines) > height {
		left := len(lines) - height + 1
		lines = append(slices.Clone(lines[:height-1]), fmt.Sprintf("... %d more lines; make the window higher", left))
	}
	var b strings.Builder
	b.WriteString(home)
	for i, line := range lines {
		if runes := []rune(line); len(runes) > width {
			line = string(runes[:width])
		}
		b.WriteString(line + clearEOL)
		if i < len(lines)-1 {
			b.WriteString("\r\n")
		}
	}
	return b.String() + clearEOS
}

// screen is what is heard, as lines of at most width characters.
func (h *hearing) screen(now int64, width int) []string {
	h.mu.Lock()
	defer h.mu.Unlock()
	seconds := float64(now-h.shown) / 1e9
	if h.shown == 0 {
		seconds = 1
	}
	lines := []string{h.headline(seconds, now)}
	lines = append(lines, h.news...)
	h.before, h.shown = h.frames, now
	if h.decoder == nil {
		return append(append(lines, ""), h.raw.table(seconds, now)...)
	}
	if h.decoder.Packs() == 0 {
		lines = append(lines, "", "no pack is heard yet")
	}
	var s pack.Status
	var packs []string
	lists := false
	for i := range h.decoder.Packs() {
		h.decoder.Status(i, now, &s)
		packs = append(append(packs, ""), packLines(&s, width)...)
		lists = lists || hasLists(&s)
	}
	if lists {
		lines = append(lines, legend())
	}
	return append(append(lines, packs...), restLines(h.decoder)...)
}

// headline says how the bus is doing.
func (h *hearing) headline(seconds float64, now int64) string {
	parts := []string{h.endpoint, fmt.Sprintf("%.0f frames/s", float64(h.frames-h.before)/seconds)}
	if h.load != nil {
		if percent, known := h.load.Percent(now); known {
			parts = append(parts, fmt.Sprintf("load %.1f %%", percent))
		}
	}
	if h.health != nil {
		health := h.health()
		if health.State != canbus.StateUnknown {
			parts = append(parts, "bus "+health.State.String())
		}
		if health.Dropped > 0 {
			parts = append(parts, fmt.Sprintf("%d frames lost", health.Dropped))
		}
	}
	return strings.Join(parts, "   ")
}

// restLines say what was heard and is not in the table.
func restLines(d *decode.Decoder) (lines []string) {
	counters := d.Counters()
	if counters[decode.Unknown]+counters.Rejected() == 0 {
		return nil
	}
	lines = append(lines, "", fmt.Sprintf("unknown %d frames, not readable %d", counters[decode.Unknown], counters.Rejected()))
	for i, id := range d.UnknownIDs() {
		if i == unknownShown {
			break
		}
		lines = append(lines, fmt.Sprintf("  %s%s, last % X", &id, shownRate(&id), id.Data[:min(id.Size, len(id.Data))]))
	}
	return lines
}

// packLines are a pack as lines of a screen.
func packLines(s *pack.Status, width int) (lines []string) {
	name := s.Source
	if s.HasAddress {
		name += fmt.Sprintf(" address %d", s.Address)
	}
	age := pack.Decimal{Coef: (s.Now - s.Time) / 1e8, Exp: -1}
	lines = append(lines, fmt.Sprintf("%s   %s   %s s ago", name, s.Mapping, age))
	if !s.Fresh {
		return append(lines, "  not heard any more")
	}
	lines = append(lines, "  alarms    "+alarmText(s))
	for _, row := range screenRows {
		if text := rowText(s, row.quantities); text != "" {
			lines = append(lines, fmt.Sprintf("  %-9s %s  %s", row.name, text, rowAge(s, row.quantities)))
		}
	}
	for _, list := range screenLists {
		lines = append(lines, listLines(s, list.quantity, list.name, width)...)
	}
	return lines
}

// screenRows are the rows of a pack's table.
var screenRows = []struct {
	name       string
	quantities []pack.Quantity
}{
	{"now", []pack.Quantity{pack.Voltage, pack.Current, pack.Power, pack.SOC}},
	{"capacity", []pack.Quantity{pack.Remaining, pack.Full, pack.Nominal, pack.SOH, pack.Cycles}},
	{"cells", []pack.Quantity{pack.CellMin, pack.CellMinAt, pack.CellMax, pack.CellMaxAt, pack.CellSpread}},
	{"heat", []pack.Quantity{pack.Temp, pack.TempMin, pack.TempMax, pack.TempSwitch, pack.TempAmbient}},
	{"charge", []pack.Quantity{pack.ChargeAllowed, pack.ChargeCurrentLimit, pack.ChargeVoltageLimit, pack.FullChargeWanted, pack.ChargeNowWanted}},
	{"discharge", []pack.Quantity{pack.DischargeAllowed, pack.DischargeCurrentLimit, pack.DischargeVoltageLimit}},
}

// wattPlaces are the most decimals of a power: as a product it has more than were
// measured.
const wattPlaces = 3

// rowText are the quantities of a row that are known. An overdue one has its
// age behind it, one outside its range a question mark.
func rowText(s *pack.Status, quantities []pack.Quantity) string {
	var parts []string
	for _, q := range quantities {
		if !s.Has(q) {
			continue
		}
		v, row := s.Value(q), q.Row()
		text := v.Decimal().String()
		if row.Unit == "W" {
			text = fixed(v.Decimal(), min(places(v.Decimal()), wattPlaces))
		}
		if row.Kind == pack.Flag {
			text = map[bool]string{true: "yes", false: "no"}[v.Coef != 0]
		}
		text = shortName(q) + " " + strings.TrimSpace(text+" "+row.Unit)
		if v.Suspect() {
			text += "?"
		}
		if v.Trust&pack.Stale != 0 {
			text += fmt.Sprintf(" (%d s old)", (s.Now-v.At)/1e9)
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, "  ")
}

// rowAge is the age of the oldest value of a row that the pack gave.
func rowAge(s *pack.Status, quantities []pack.Quantity) string {
	oldest := s.Now
	for _, q := range quantities {
		if s.Has(q) {
			oldest = min(oldest, s.Value(q).At)
		}
	}
	return "(" + pack.Decimal{Coef: (s.Now - oldest) / 1e8, Exp: -1}.String() + " s)"
}

// shortName is a quantity's key without the words that its row says already.
func shortName(q pack.Quantity) string {
	key := q.String()
	if i := strings.LastIndexByte(key, '_'); i > 0 && q.Row().Unit != "" {
		key = key[:i]
	}
	for _, said := range []string{"discharge_", "charge_", "cell_", "temp_"} {
		key = strings.TrimPrefix(key, said)
	}
	return strings.ReplaceAll(key, "_", " ")
}

func alarmText(s *pack.Status) string {
	if s.Alarms.Known == 0 {
		return "not known"
	}
	var parts []string
	for a := range s.Alarms.All() {
		parts = append(parts, strings.ReplaceAll(a.String(), "_", " "))
	}
	text := strings.Join(parts, ", ")
	if text == "" {
		text = "none"
	}
	if s.AlarmsStale {
		text += " (overdue)"
	}
	return text
}
