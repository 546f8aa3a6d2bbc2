// Package draft begins mapping files: it turns what other descriptions of frames
// and registers say into a mapping whose fields stand at their places and have
// their types, but no meaning yet. What a field means in the neutral status is
// for a person to say; the draft proposes quantities whose unit fits.
//
// It reads DBC files ([DBC]) and SunSpec model definitions ([SunSpec]).
package draft

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strings"
	"unicode"

	"packlink/decode/pack"
	"packlink/mapping"
)

// Draft is a mapping file without meaning and examples.
type Draft struct {
	Text []byte   // the file
	Lost []string // what the source says and the file cannot; the file says so too, in comments
}

// message is one message of a draft.
type message struct {
	name   string
	notes  []string // comments above it
	match  string   // the line that says which frames or registers it is
	length int      // bytes of a frame; 0 for registers
	fields []field
	group  *group
}

// group is what a model repeats.
type group struct {
	at, size int
	fields   []field
}

// field is one field of a draft.
type field struct {
	at, bit int
	as      string // type
	bits    int    // its width
	extra   string // further keys, with a comma before them
	name    string
	equals  bool   // it has one value
	value   uint64 // that value
	notes   []string
	bare    bool   // it is no value that a quantity could be
	lost    string // why it cannot be said; "" if it can

	unit    string
	scale   pack.Decimal
	offset  pack.Decimal
	bounded bool // low and high say something
	low     pack.Decimal
	high    pack.Decimal
	scaleBy string // what the source calls the field that gives a further power of ten
	power   *field // that field
	within  string // what stands before the names of the field's group
}

// builder collects a draft.
type builder struct {
	file     string // name of the source
	head     string // what stands before the messages
	messages []message
	lost     []string
}

// arithmetic is how a raw value becomes one with a unit, as a comment; nothing if
// it is one as it stands.
func (f *field) arithmetic() []string {
	text := "raw"
	if f.scale != pack.Int(1) {
		text += " x " + f.scale.String()
	}
	if f.scaleBy != "" {
		text += " x 10^" + f.scaleBy
	}
	switch negative := (pack.Decimal{Coef: -f.offset.Coef, Exp: f.offset.Exp}); {
	case f.offset.Coef > 0:
		text += " + " + f.offset.String()
	case f.offset.Coef < 0:
		text += " - " + negative.String()
	}
	if f.unit != "" {
		text += ", in " + f.unit
	}
	if f.bounded {
		text += fmt.Sprintf(", from %s to %s", f.low, f.high)
	}
	if text == "raw" {
		return nil
	}
	return []string{"value: " + text}
}

func (b *builder) lose(format string, args ...any) {
	b.lost = append(b.lost, fmt.Sprintf(format, args...))
}

var notPlain = regexp.MustCompile(`[^a-z0-9]+`)

// plainName is the name of a mapping that is drafted from a file.
func plainName(file string) string {
	base := strings.TrimSuffix(filepath.Base(file), filepath.Ext(file))
	name := strings.Trim(notPlain.ReplaceAllString(strings.ToLower(base), "-"), "-")
	if name == "" || name[0] < 'a' {
		name = strings.Trim("draft-"+name, "-")
	}
	return name
}

var notLetter = regexp.MustCompile(`[^A-Za-z0-9_]+`)

// nameFields gives every field a name that a mapping takes, once in a message.
// taken counts the fields of each name.
func nameFields(fields []field, taken map[string]int) {
	for i := range fields {
		f := &fields[i]
		name := notLetter.ReplaceAllString(f.name, "_")
		if name == "" || name[0] < 'A' || name[0] == '_' {
			name = "s_" + strings.TrimLeft(name, "_")
		}
		if _, quantity := pack.ByKey(name); quantity || name == "alarms" {
			name += "_raw"
		}
		first := name
		for taken[name] > 0 {
			taken[first]++
			name = fmt.Sprintf("%s_%d", first, taken[first])
		}
		if !f.equals && f.lost == "" {
			taken[name] = 1
		}
		f.name = name
	}
}

// keepNamed leaves off the names that are more than a message can have.
func (b *builder) keepNamed(m *message) {
	named := 0
	for i := range m.fields {
		if f := &m.fields[i]; !f.equals && f.lost == "" {
			if named++; named > mapping.MaxLets {
				f.lost = fmt.Sprintf("a message names at most %d fields", mapping.MaxLets)
			}
		}
	}
}

// line is a text of the source as one line of a comment.
func line(text string) string {
	visible := func(r rune) rune {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || r == '\uFEFF' {
			return ' '
		}
		return r
	}
	return strings.Join(strings.Fields(strings.Map(visible, strings.ToValidUTF8(text, "?"))), " ")
}
