package feed

import (
	"strings"

	"packlink/decode/pack"
)

// unitWords are the units of the catalogue as OpenMetrics spells them: base
// units in full, and a ratio for percent.
var unitWords = map[string]string{
	"V": "volts", "A": "amperes", "W": "watts", "Ah": "ampere_hours", "Wh": "watt_hours",
	"%": "ratio", "degC": "celsius", "s": "seconds",
}

// family is a metric family: all samples of one name.
type family struct{ prefix, key, unit, doc string }

// name is the prefix and the key, with the unit's word in the place of the
// key's unit.
func (f family) name() string {
	if f.unit == "" {
		return f.prefix + "_" + f.key
	}
	return f.prefix + "_" + f.key[:strings.LastIndexByte(f.key, '_')+1] + unitWords[f.unit]
}

// append appends the family's metadata and then what samples appends. A
// family without samples leaves no trace. The help is the doc's first clause.
func (f family) append(b []byte, samples func(b []byte, name string) []byte) []byte {
	start, name := len(b), f.name()
	b = append(b, "# TYPE "+name+" gauge\n"...)
	if f.unit != "" {
		b = append(b, "# UNIT "+name+" "+unitWords[f.unit]+"\n"...)
	}
	help, _, _ := strings.Cut(f.doc, ";")
	b = append(b, "# HELP "+name+" "+escape.Replace(help)+"\n"...)
	empty := len(b)
	if b = samples(b, name); len(b) == empty {
		return b[:start]
	}
	return b
}

// labels are a sample's labels as they stand between the braces.
type labels string

// with adds a label. An empty value is the same as no label.
func (l labels) with(name, value string) labels {
	if value == "" {
		return l
	}
	if l != "" {
		l += ","
	}
	return l + labels(name+`="`+escape.Replace(strings.ToValidUTF8(value, "\uFFFD"))+`"`)
}

// escape makes the three escapes of OpenMetrics 1.0, section "ABNF",
// escaped-string.
var escape = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`)

func appendSample(b []byte, name string, who labels, d pack.Decimal) []byte {
	b = append(b, name...)
	if who != "" {
		b = append(append(append(b, '{'), who...), '}')
	}
	return append(d.Append(append(b, ' ')), '\n')
}
