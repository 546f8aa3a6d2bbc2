package mapping

import (
	"regexp"
	"slices"
	"strings"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

// Figure is something that follows from what is known of a pack, or of a bank
// and its packs. Package decode works it out when registers are written.
type Figure uint8

// The figures. Those of a quantity look at a pack's own value, or at those of
// every fresh pack where the message speaks of the bank.
const (
	Same       Figure = iota + 1 // the quantity as it stands
	Highest                      // the greatest value
	Lowest                       // the least
	HighestIn                    // number of the pack with the greatest value, from 1
	LowestIn                     // number of the pack with the least
	Mean                         // the mean
	Amount                       // how many elements, or flags that are set
	Depth                        // depth of discharge, in %
	Connected                    // how many packs are connected
	Heartbeat                    // counts the seconds in which packs are heard
	Flow                         // a word: which way the charge flows
	Connection                   // a word: whether the pack is connected
	Condition                    // a word: what the bank is doing
	Severity                     // a word: how grave its alarms are
)

// FigureRow describes a figure.
type FigureRow struct {
	Name  string      // as it stands behind "derive"
	Kinds []pack.Kind // of quantities that it is made of; nil if it names none
	Words []string    // what it can be; nil if it is a number
	Unit  string      // of a number; "" for a count, and for what has the unit of its quantity
	Doc   string      // one sentence for docs
}

// Figures are the figures that a field can be written from.
var Figures = map[Figure]*FigureRow{
	Highest:    {"highest", []pack.Kind{pack.Number, pack.Numbers}, nil, "", "the greatest value"},
	Lowest:     {"lowest", []pack.Kind{pack.Number, pack.Numbers}, nil, "", "the least value"},
	HighestIn:  {"highest_in", []pack.Kind{pack.Number, pack.Numbers}, nil, "", "number of the pack that has the greatest value, from 1"},
	LowestIn:   {"lowest_in", []pack.Kind{pack.Number, pack.Numbers}, nil, "", "number of the pack that has the least value, from 1"},
	Mean:       {"mean", []pack.Kind{pack.Number, pack.Numbers}, nil, "", "the mean, rounded to the finest place of its values"},
	Amount:     {"amount", []pack.Kind{pack.Numbers, pack.Flags}, nil, "", "how many elements a list has; of flags, how many are set"},
	Depth:      {"depth", nil, nil, "%", "100 % less the state of charge"},
	Connected:  {"connected_packs", nil, nil, "", "how many fresh packs are connected, if each of them tells (see `connection`)"},
	Heartbeat:  {"heartbeat", nil, nil, "", "the second of the newest measurement of any pack, counted modulo 65535: it stands still while none is heard"},
	Flow:       {"flow", nil, []string{"charging", "discharging", "full", "empty", "resting"}, "", "by the current; without any, `full` at 100 % and `empty` at 0 % state of charge"},
	Connection: {"connection", nil, []string{"connected", "disconnected"}, "", "connected if a current flows, or charging or discharging is allowed; disconnected if neither is allowed"},
	Condition:  {"condition", nil, []string{"fault", "low_charge", "connected", "disconnected"}, "", "`fault` with a protection alarm of a contactor, a switch, a short circuit or the inside; `low_charge` with that alarm; else by the connection of the packs"},
	Severity:   {"severity", nil, []string{"ok", "warning", "protection"}, "", "the gravest level among the active alarms"},
}

// Derivation says what a field is written from that the status does not hold as
// such. It is not read back.
type Derivation struct {
	Figure Figure
	Of     pack.Quantity // of a figure that names one
	Words  []Word        // raw values of the words of a figure
}

// Word is a raw value that stands for a word of a figure.
type Word struct {
	Raw  uint64
	Word string
}

var derivation = regexp.MustCompile(`^([a-z_]+)(?:\(([a-z_]+)\))?$`)

// derivation reads what a field is derived from: a quantity, a figure, or a
// figure of a quantity.
func (l *loader) derivation(n *document.Node) *Derivation {
	if n == nil {
		return nil
	}
	l.Takes(n, document.Form{Type: "string", Pattern: derivation.String()})
	parts := derivation.FindStringSubmatch(n.Text)
	if parts == nil || n.Kind != document.Scalar {
		l.Report(n, RuleDerive, "derive must be a quantity, a figure, or a figure of a quantity, such as mean(cells_v)")
		return nil
	}
	if q, is := pack.ByKey(parts[1]); is && parts[2] == "" {
		if kind := q.Row().Kind; kind != pack.Number {
			l.Report(n, RuleDerive, "%s is no single number; only those can be derived as they are", q)
		}
		return &Derivation{Figure: Same, Of: q}
	}
	for figure, row := range Figures {
		if row.Name == parts[1] {
			return l.figure(n, figure, parts[2])
		}
	}
	l.Report(n, RuleDerive, "%q is no figure; the figures are %s", parts[1], strings.Join(figureNames(), ", "))
	return nil
}

func (l *loader) figure(n *document.Node, figure Figure, of string) *Derivation {
	row, d := Figures[figure], &Derivation{Figure: figure}
	q, is := pack.ByKey(of)
	switch {
	case row.Kinds == nil && of != "":
		l.Report(n, RuleDerive, "%s takes no quantity", row.Name)
	case row.Kinds != nil && !is:
		l.Report(n, RuleDerive, "%s takes a quantity, as in %s(cells_v)", row.Name, row.Name)
	case row.Kinds != nil && !slices.Contains(row.Kinds, q.Row().Kind):
		l.Report(n, RuleDerive, "%s cannot be made of %s", row.Name, q)
	}
	d.Of = q
	return d
}

func figureNames() (names []string) {
	for _, row := range Figures {
		names = append(names, row.Name)
	}
	slices.Sort(names)
	return names
}

// words reads which raw values stand for the words of a figure.
func (l *loader) words(n *document.Node, d *Derivation, bits int) {
	known := Figures[d.Figure].Words
	for _, p := range n.Pairs {
		l.Takes(p.Value, document.Form{Type: "string", Choices: known})
		w := Word{l.raw(p.Key, "a raw value", bits), p.Value.Text}
		if !slices.Contains(known, w.Word) {
			l.Report(p.Value, RuleDerive, "%q is no word of this figure; its words are %s", w.Word, strings.Join(known, ", "))
		}
		if slices.ContainsFunc(d.Words, func(other Word) bool { return other.Word == w.Word }) {
			l.Report(p.Value, RuleTwice, "%s stands twice", w.Word)
		}
		d.Words = append(d.Words, w)
	}
}

// number tells whether the derivation gives a number, not a word.
func (d *Derivation) number() bool {
	return d != nil && (d.Figure == Same || Figures[d.Figure].Words == nil)
}

// signed tells whether the number has the sign of its quantity.
func (d *Derivation) signed() bool {
	switch d.Figure {
	case Same, Highest, Lowest, Mean:
		return true
	}
	return false
}

// Unit is the unit of the number; "" for a count or a word.
func (d *Derivation) Unit() string {
	if d.signed() {
		return d.Of.Row().Unit
	}
	return Figures[d.Figure].Unit
}

// String is the derivation as it stands in a file.
func (d *Derivation) String() string {
	if d.Figure == Same {
		return d.Of.String()
	}
	row := Figures[d.Figure]
	if row.Kinds == nil {
		return row.Name
	}
	return row.Name + "(" + d.Of.String() + ")"
}
