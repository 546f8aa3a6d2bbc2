package mapping

import (
	"strings"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

// meanings reads what the raw values of a flag or a text mean.
func (l *loader) meanings(n *document.Node, f *Field) {
	if f.Target == nil && f.Place.Get("is") == nil {
		l.Report(n, RuleMeaning, "values are for quantities (is) that are true or false, or a text; a field that is only named, or alarms, have none")
		return
	}
	seen := make(map[uint64]bool)
	word := f.Target != nil && f.Target.Quantity.Row().Kind == pack.Word
	on, off := false, false
	for _, p := range n.Pairs {
		before := l.Reports()
		m := Meaning{Other: p.Key.Text == otherKey}
		if !m.Other {
			if m.Raw = l.raw(p.Key, "a raw value", f.Type.Bits); seen[m.Raw] && l.Reports() == before {
				l.Report(p.Key, RuleTwice, "the raw value %d stands twice", m.Raw)
			}
			seen[m.Raw] = true
		}
		if word {
			m.Text = l.meaningText(p.Value)
		} else {
			m.On = l.Flag(p.Value, "the meaning of a flag")
		}
		on, off = on || m.On && !m.Other, off || !m.On && !m.Other
		f.Values = append(f.Values, m)
	}
	if !word && (!on || !off) {
		l.Report(n, RuleMeaning, "values must name a raw value for true and one for false, or one of them could not be written")
	} else if !on && !off {
		l.Report(n, RuleMeaning, "values must name a raw value, or nothing could be written")
	}
}

func (l *loader) meaningText(n *document.Node) []byte {
	text := l.Text(n, "the meaning of a raw value")
	if len(text) > pack.MaxText || strings.Trim(text, " \x00") != text {
		l.Report(n, RuleMeaning, "a text has at most %d bytes, without blanks around it", pack.MaxText)
	}
	return []byte(text)
}

// DateForm is how a number is a date.
type DateForm uint8

// The forms of a date.
const (
	Packed  DateForm = iota + 1 // from the top: 7 bits of years since Since, 4 of the month, 5 of the day
	Days                        // since 1 January of the year Since
	Digits                      // decimal: year, month and day
	Digits6                     // likewise, with a year of two digits since Since
)

var dateForms = map[string]DateForm{"packed": Packed, "days": Days, "digits": Digits}

// digitsBits is how many bits a number needs for eight decimal digits of a date:
// the last one of the year 9999 is below 2^27.
const digitsBits = 27

// date reads how a number is a date.
func (l *loader) date(o *document.Object, f *Field) {
	form := o.Choice("date", "packed", "days", "digits")
	if form == "" {
		o.Only("beside date", "since")
		return
	}
	f.Date = dateForms[form]
	f.Since = int(o.Int("since", 2000, 1, 9999))
	short := f.Type.Bits < digitsBits || o.Node.Get("since") != nil
	switch {
	case f.Date == Digits && short:
		f.Date = Digits6
	case f.Date == Packed && (f.Type.Base != Unsigned || f.Type.Bits != 16):
		l.Report(o.Node.Get("as"), RuleType, "a packed date has 16 bits, 7 for the year, 4 for the month and 5 for the day: u16, not %s", f.Type.Name)
	}
}
