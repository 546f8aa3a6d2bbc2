package draft

import (
	"cmp"
	"fmt"
	"math"
	"math/bits"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"packlink/decode/pack"
)

// unit is a unit of the catalogue, and how many of it one of another is.
type unit struct {
	catalogue string
	factor    pack.Decimal
}

func milli(catalogue string) unit { return unit{catalogue, pack.Decimal{Coef: 1, Exp: -3}} }
func kilo(catalogue string) unit  { return unit{catalogue, pack.Int(1000)} }
func same(catalogue string) unit  { return unit{catalogue, pack.Int(1)} }

// units are the spellings of units that are understood: common practice, and
// those of the SunSpec model definitions.
var units = map[string]unit{
	"":  same(""),
	"V": same("V"), "Volt": same("V"), "Volts": same("V"), "mV": milli("V"), "kV": kilo("V"),
	"A": same("A"), "Amp": same("A"), "Amps": same("A"), "mA": milli("A"),
	"W": same("W"), "kW": kilo("W"),
	"Ah": same("Ah"), "AH": same("Ah"), "mAh": milli("Ah"),
	"Wh": same("Wh"), "WH": same("Wh"), "kWh": kilo("Wh"),
	"%": same("%"), "Pct": same("%"), "percent": same("%"), "%WHRtg": same("%"),
	"degC": same("degC"), "deg C": same("degC"), "°C": same("degC"), "C": same("degC"), "℃": same("degC"),
	"s": same("s"), "sec": same("s"), "Sec": same("s"), "Secs": same("s"), "ms": milli("s"),
	"min": {"s", pack.Int(60)}, "h": {"s", pack.Int(3600)},
}

// proposals are the comments below a field: what it could be.
func (f *field) proposals() []string {
	if f.equals || f.bare || f.power != nil && f.power.lost != "" {
		return nil
	}
	u, known := units[f.unit]
	fitting := f.fitting(u)
	switch {
	case f.unit != "" && !known:
		return []string{"no quantity has this unit"}
	case len(fitting) == 0 && f.unit != "":
		return []string{fmt.Sprintf("no quantity with this unit can be read from %s", f.as)}
	case len(fitting) == 0:
		return nil
	}
	first := f.quantity(target(fitting[0], f.name), u.factor)
	if first == "" {
		return []string{fmt.Sprintf("perhaps %s, but exact values need more than 62 bits: give scale and offset fewer digits", fitting[0])}
	}
	also := make([]string, 0, len(fitting))
	for _, q := range fitting[1:] {
		also = append(also, target(q, f.name))
	}
	lines := []string{"- {" + first + "}"}
	if slices.Contains(fitting, pack.Current) || slices.Contains(fitting, pack.Power) {
		lines = append(lines, "current and power need sign: charge-positive or discharge-positive")
	}
	if len(also) > 0 {
		lines = append(lines, "or "+strings.Join(also, ", "))
	}
	return lines
}

// fitting are the quantities that the field can be, the likeliest first. Without
// a unit only those whose name the field's name speaks of.
func (f *field) fitting(u unit) (fitting []pack.Quantity) {
	kinds := []pack.Kind{pack.Number, pack.Numbers}
	switch {
	case strings.HasPrefix(f.as, "text"):
		kinds = []pack.Kind{pack.Word}
	case f.bits == 1:
		kinds = []pack.Kind{pack.Flag}
	}
	scores := make(map[pack.Quantity]int)
	for q := range pack.Count {
		row := q.Row()
		score, whole := f.likeness(q)
		scores[q] = score
		if row.Group != "bank" && row.Unit == u.catalogue && slices.Contains(kinds, row.Kind) && (u.catalogue != "" || whole) {
			fitting = append(fitting, q)
		}
	}
	slices.SortStableFunc(fitting, func(a, b pack.Quantity) int { return cmp.Compare(scores[b], scores[a]) })
	return fitting
}

// likeness is how much a field speaks of a quantity: ten for each word of the key
// that begins a word of the field's name, three if it begins one of its comments,
// four less for each that does neither, five more for a list if the name ends in a
// number. whole says that every word is spoken.
func (f *field) likeness(q pack.Quantity) (score int, whole bool) {
	key := strings.Split(q.String(), "_")
	if q.Row().Unit != "" {
		key = key[:len(key)-1]
	}
	name, notes := words(f.name), words(strings.Join(f.notes, " "))
	whole = true
	for _, word := range key {
		begins := func(w string) bool { return strings.HasPrefix(w, strings.TrimSuffix(word, "s")) }
		switch {
		case slices.ContainsFunc(name, begins):
			score += 10
		case slices.ContainsFunc(notes, begins):
			score += 3
		default:
			score -= 4
			whole = false
		}
	}
	if whole && q.Row().Kind.List() && trailing.MatchString(f.name) {
		score += 5
	}
	return score, whole
}

var wordOf = regexp.MustCompile(`[A-Z]+[a-z]*|[a-z]+`)

// words are the words of a text in small letters, also of one written LikeThis.
func words(text string) []string {
	all := wordOf.FindAllString(text, -1)
	for i, w := range all {
		all[i] = strings.ToLower(w)
	}
	return all
}

var trailing = regexp.MustCompile(`[0-9]+$`)

// target is a quantity as a mapping names it; an element of a list by the number
// at the end of the field's name.
func target(q pack.Quantity, name string) string {
	if !q.Row().Kind.List() {
		return q.String()
	}
	n, err := strconv.Atoi(trailing.FindString(name))
	if err != nil || n < 1 || n > q.Row().Max {
		n = 1
	}
	return fmt.Sprintf(`"%s[%d]"`, q, n)
}

// quantity is the field as a quantity, as a map without its braces. It is empty
// if its values are not exact.
func (f *field) quantity(target string, factor pack.Decimal) string {
	text := f.place(f.as) + ", is: " + target + f.extra
	if f.bits == 1 || strings.HasPrefix(f.as, "text") {
		return text
	}
	scale, ok := f.scale.Mul(factor)
	offset, okToo := f.offset.Mul(factor)
	if !ok || !okToo || !f.exact(scale, offset) {
		return ""
	}
	if scale.Cmp(pack.Int(1)) != 0 {
		text += ", scale: " + scale.String()
	}
	if f.power != nil {
		return text + ", scale_by: " + f.power.name
	}
	if offset.Coef != 0 {
		text += ", offset: " + offset.String()
	}
	low, ok := f.low.Mul(factor)
	high, okToo := f.high.Mul(factor)
	if f.bounded && ok && okToo && f.exact(scale, offset, low, high) {
		text += fmt.Sprintf(", range: [%s, %s]", low, high)
	}
	return text
}

// exact tells whether the greatest raw value times the scale, and the others,
// each fit 62 bits as whole numbers of one power of ten: what a mapping wants of
// all but floats.
func (f *field) exact(scale pack.Decimal, others ...pack.Decimal) bool {
	const most = math.MaxInt64 / 2
	if f.float() {
		return true
	}
	exp := scale.Exp
	for _, d := range others {
		if d.Coef != 0 {
			exp = min(exp, d.Exp)
		}
	}
	coef, ok := scale.Rescale(exp)
	greatest := uint64(math.MaxUint64) >> (64 - min(max(f.bits, 1), 64))
	high, low := bits.Mul64(greatest, uint64(max(coef, -coef)))
	if !ok || high != 0 || low > most {
		return false
	}
	for _, d := range others {
		if n, ok := d.Rescale(exp); !ok || max(n, -n) > most {
			return false
		}
	}
	return true
}
