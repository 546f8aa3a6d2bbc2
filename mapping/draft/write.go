package draft

import (
	"fmt"
	"path/filepath"
	"strings"

	"packlink/mapping/document"
)

const instructions = `# A draft: where every field stands is taken from the source, what it means is
# left to you. Each field is only named (let). Where you know what a field is, put
# the line below it in its place, without its #: it makes the field a quantity of
# docs/quantities.md. Leave the others as they are. Then give each message an
# example from the source, and run: packlink mapping lint FILE
`

// draft is the file that was collected.
func (b *builder) draft() (*Draft, error) {
	if len(b.messages) == 0 {
		return nil, fmt.Errorf("%s describes no message that a mapping can hold%s", b.file, b.allLost())
	}
	var t strings.Builder
	b.nameMessages()
	var messages strings.Builder
	for i := range b.messages {
		b.message(&messages, &b.messages[i])
	}
	t.WriteString(instructions)
	if len(b.lost) > 0 {
		t.WriteString("#\n# What the source says and this draft does not:\n")
		comment(&t, "", b.lost)
	}
	fmt.Fprintf(&t, "packlink: 1\nname: %s\ntitle: %s\nsource:\n  - title: %s\n%s\nmessages:\n",
		plainName(b.file), quoted("Draft from "+filepath.Base(b.file)), quoted(filepath.Base(b.file)), b.head)
	t.WriteString(messages.String())
	if _, read := document.Parse(b.file, []byte(t.String())); len(read.Problems) > 0 {
		b.lose("the draft cannot be read: %s; leave messages out of it", read.Problems[0].Message)
	}
	return &Draft{Text: []byte(t.String()), Lost: b.lost}, nil
}

// allLost says why nothing could be drafted, as far as the source has something.
func (b *builder) allLost() string {
	switch n := len(b.lost); n {
	case 0:
		return ""
	case 1:
		return "; left out: " + b.lost[0]
	default:
		return fmt.Sprintf("; left out: %s; and %d more", b.lost[0], n-1)
	}
}

// nameMessages gives every message a name of its own.
func (b *builder) nameMessages() {
	taken := make(map[string]int)
	for i := range b.messages {
		m := &b.messages[i]
		name := line(m.name)
		m.name = name
		for taken[m.name] > 0 {
			taken[name]++
			m.name = fmt.Sprintf("%s (%d)", name, taken[name])
		}
		taken[m.name] = 1
	}
}

// quoted is a text in YAML's quotes.
func quoted(text string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(line(text)) + `"`
}

func (b *builder) message(t *strings.Builder, m *message) {
	b.keepNamed(m)
	taken := make(map[string]int)
	nameFields(m.fields, taken)
	t.WriteString("\n")
	comment(t, "  ", m.notes)
	fmt.Fprintf(t, "  - name: %s\n    %s\n", quoted(m.name), m.match)
	if m.length > 0 {
		fmt.Fprintf(t, "    length: %d\n", m.length)
	}
	b.fields(t, "    ", m.name, m.fields)
	if m.group == nil {
		return
	}
	nameFields(m.group.fields, taken)
	fmt.Fprintf(t, "    each_pack:\n      at: %d\n      size: %d\n", m.group.at, m.group.size)
	b.fields(t, "      ", m.name, m.group.fields)
}

// comment writes each note as a line of comment.
func comment(t *strings.Builder, indent string, notes []string) {
	for _, note := range notes {
		if text := line(note); text != "" {
			fmt.Fprintf(t, "%s# %s\n", indent, text)
		}
	}
}

func (b *builder) fields(t *strings.Builder, indent, message string, fields []field) {
	head := indent + "fields:\n"
	for i := range fields {
		f := &fields[i]
		if f.lost == "" {
			t.WriteString(head)
			head = ""
			fmt.Fprintf(t, "%s  - {%s}\n", indent, f.named())
			comment(t, indent+"    ", append(f.notes, f.arithmetic()...))
			comment(t, indent+"    ", f.proposals())
			continue
		}
		b.lose("%s, %s: %s", message, f.name, f.lost)
		notes := append([]string{"left out: " + f.name + ": " + f.lost}, f.notes...)
		comment(t, indent+"  ", append(notes, f.arithmetic()...))
	}
}

// place is where the field stands, and as what.
func (f *field) place(as string) string {
	text := fmt.Sprintf("at: %d, ", f.at)
	if f.bit > 0 {
		text += fmt.Sprintf("bit: %d, ", f.bit)
	}
	return text + "as: " + as
}

// named is the field with its name, as a map without its braces. A name stands
// for a whole number, so a float is named by its bits.
func (f *field) named() string {
	place := f.place(f.as)
	if f.float() {
		place = f.place(fmt.Sprintf("u%d", f.bits))
	}
	if f.equals {
		return fmt.Sprintf("%s, equals: %d%s", place, f.value, f.extra)
	}
	return place + ", let: " + f.name + f.extra
}

func (f *field) float() bool { return f.as == "f32" || f.as == "f64" }
