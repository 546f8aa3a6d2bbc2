package feed

import (
	"io"
	"strconv"
	"strings"
	"time"
	"unicode"

	"packlink/decode/bank"
	"packlink/decode/pack"
)

// Summary writes one line of text for people in each interval. It is for one
// goroutine.
type Summary struct {
	w     io.Writer
	every int64 // nanoseconds
	slot  int64 // the interval of the last line, counted from the Unix epoch
	b     []byte
}

// NewSummary makes a writer of lines to w, at most one in each interval.
// Without an interval it writes each bank.
func NewSummary(w io.Writer, every time.Duration) *Summary {
	return &Summary{w: w, every: max(1, int64(every))}
}

// Bank writes the bank's line if it is the first of its interval. An error of
// the writer is returned, and the next bank tries again.
func (s *Summary) Bank(b *bank.Bank) error {
	slot := b.Whole.Now / s.every
	if slot == s.slot {
		return nil
	}
	s.b = append(AppendSummary(s.b[:0], b), '\n')
	if err := writeLine(s.w, s.b); err != nil {
		return err
	}
	s.slot = slot
	return nil
}

// AppendSummary appends the bank as one line of text, without a line end:
//
//	12:00:05Z  bank boathouse  52.81 V  -27.2 A  87.8 %  cells 3.289 to 3.314 V  2 of 2 packs  discharge_overcurrent warning
//
// The time is UTC. What is not known is left out.
func AppendSummary(to []byte, b *bank.Bank) []byte {
	w := &b.Whole
	to = time.Unix(0, w.Now).UTC().AppendFormat(to, "15:04:05Z")
	to = append(append(to, "  bank "...), oneLine(b.Name)...)
	if anyFresh(b) {
		to = appendMeasured(to, w)
	}
	to = appendPackCount(to, w)
	if !anyFresh(b) {
		return appendSilence(to, w)
	}
	to = appendSilent(to, b)
	to = appendForbidden(to, w)
	for alarm := range w.Alarms.All() {
		to = append(append(to, "  "...), alarm.String()...)
	}
	if w.AlarmsStale {
		to = append(to, "  alarms overdue"...)
	}
	return to
}

// columns are the numbers of the line, with the places they are rounded to and their
// unit.
var columns = []struct {
	q      pack.Quantity
	places int8
	after  string
}{
	{pack.Voltage, 2, " V"},
	{pack.Current, 1, " A"},
	{pack.SOC, 1, " %"},
}

func appendMeasured(to []byte, w *pack.Status) []byte {
	for _, c := range columns {
		if d, ok := w.Usable(c.q); ok {
			to = append(appendRounded(append(to, "  "...), d, c.places), c.after...)
		}
	}
	low, okLow := w.Usable(pack.CellMin)
	high, okHigh := w.Usable(pack.CellMax)
	if okLow && okHigh {
		to = appendRounded(append(to, "  cells "...), low, 3)
		to = append(appendRounded(append(to, " to "...), high, 3), " V"...)
	}
	return to
}

// appendRounded appends d with a fixed number of places, so that columns stay
// in line.
func appendRounded(to []byte, d pack.Decimal, places int8) []byte {
	coef, ok := d.Rescale(-places)
	if !ok {
		return d.Append(to)
	}
	return strconv.AppendFloat(to, pack.Decimal{Coef: coef, Exp: -places}.Float64(), 'f', int(places), 64)
}

func appendPackCount(to []byte, w *pack.Status) []byte {
	fresh, _ := w.Usable(pack.PacksFresh)
	all, _ := w.Usable(pack.Packs)
	to = append(fresh.Append(append(to, "  "...)), " of "...)
	return append(all.Append(to), " packs"...)
}

// silentNamed is the most silent packs that the line names.
const silentNamed = 4

// appendSilent names the packs that are not heard, as SOURCE or SOURCE/ADDRESS.
func appendSilent(to []byte, b *bank.Bank) []byte {
	silent := 0
	for i := range b.Packs {
		p := &b.Packs[i]
		if p.Fresh {
			continue
		}
		if silent++; silent > silentNamed {
			continue
		}
		to = append(to, map[bool]string{true: ", silent: ", false: ", "}[silent == 1]...)
		to = append(to, oneLine(p.Source)...)
		if p.HasAddress {
			to = strconv.AppendUint(append(to, '/'), uint64(p.Address), 10)
		}
	}
	if silent > silentNamed {
		to = append(strconv.AppendInt(append(to, " and "...), int64(silent-silentNamed), 10), " more"...)
	}
	return to
}

// appendSilence says for how long nothing was heard.
func appendSilence(to []byte, w *pack.Status) []byte {
	d, ok := age(w)
	if !ok {
		return append(to, "  never heard"...)
	}
	to = strconv.AppendInt(append(to, "  not heard for "...), int64(d/time.Second), 10)
	return append(to, " s"...)
}

// appendForbidden says which direction is not allowed.
func appendForbidden(to []byte, w *pack.Status) []byte {
	if d, ok := w.Usable(pack.ChargeAllowed); ok && d.Coef == 0 {
		to = append(to, "  charge not allowed"...)
	}
	if d, ok := w.Usable(pack.DischargeAllowed); ok && d.Coef == 0 {
		to = append(to, "  discharge not allowed"...)
	}
	return to
}

// anyFresh tells whether at least one pack of the bank is heard in time.
func anyFresh(b *bank.Bank) bool {
	n, ok := b.Whole.Usable(pack.PacksFresh)
	return ok && n.Coef > 0
}

// oneLine is text without control characters, so that it cannot break a line.
func oneLine(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))
}
