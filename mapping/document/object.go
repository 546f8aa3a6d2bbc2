package document

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// The rules that every file read here obeys.
const (
	RuleUnknownKey = "unknown-key"
	RuleMissingKey = "missing-key"
	RuleWrongType  = "wrong-type"
)

// Object reads the keys of one map and notes what is wrong with them.
type Object struct {
	File *File
	Node *Node  // the map
	what string // what it describes, for messages
	read []string
	only []limited
}

// limited is a key that a map takes under a condition that does not hold.
type limited struct{ key, where string }

// Object begins to read a map. For a node that is not a map it notes the
// problem and returns nil.
func (f *File) Object(n *Node, what string) *Object {
	if n.Kind != Map {
		f.Report(n, RuleWrongType, "%s must be a map, {key: value, ...}; this is %s", what, n.shown())
		return nil
	}
	f.trace.object(n, what)
	return &Object{File: f, Node: n, what: what}
}

// Get is the value of a key, nil if it is not given.
func (o *Object) Get(key string) *Node {
	o.read = append(o.read, key)
	n := o.Node.Get(key)
	o.File.trace.asked(o.what, key, n)
	return n
}

// Own is the value of a key that the file itself has made, such as the name of a
// part; nil if it is not given.
func (o *Object) Own(key string) *Node {
	o.read = append(o.read, key)
	n := o.Node.Get(key)
	o.File.trace.own(o.what, n)
	return n
}

// Need is the value of a key that must be given. It notes a missing one.
func (o *Object) Need(key string) *Node {
	n := o.Get(key)
	o.File.trace.needed(o.what, key)
	if n == nil {
		o.File.Report(o.Node, RuleMissingKey, "%s needs %q", o.what, key)
	}
	return n
}

// Only notes that such a map takes keys, though not this one: where says under
// which condition it would, as in "beside repeat".
func (o *Object) Only(where string, keys ...string) {
	for _, key := range keys {
		o.only = append(o.only, limited{key, where})
	}
}

// Done notes every key that nothing has asked for.
func (o *Object) Done() {
	for _, p := range o.Node.Pairs {
		key := p.Key.Text
		if slices.Contains(o.read, key) {
			continue
		}
		if i := slices.IndexFunc(o.only, func(l limited) bool { return l.key == key }); i >= 0 {
			o.File.Report(p.Key, RuleUnknownKey, "%s takes %q only %s", o.what, key, o.only[i].where)
			continue
		}
		o.File.Report(p.Key, RuleUnknownKey, "%s has no key %q; it takes %s", o.what, key, strings.Join(o.taken(), ", "))
	}
}

// taken are the keys that the map takes, and those that it takes elsewhere.
func (o *Object) taken() []string {
	all := slices.Clone(o.read)
	for _, l := range o.only {
		all = append(all, l.key+" ("+l.where+")")
	}
	return all
}

// Text is the text of a key, "" if it is not given.
func (o *Object) Text(key string) string { return o.File.Text(o.Get(key), o.name(key)) }

// NeedText is the text of a key that must be given.
func (o *Object) NeedText(key string) string { return o.File.Text(o.Need(key), o.name(key)) }

// Choice is the text of a key that must be one of the choices, "" if it is not
// given.
func (o *Object) Choice(key string, choices ...string) string {
	return o.File.Choice(o.Get(key), o.name(key), choices...)
}

// Int is the whole number of a key, otherwise if it is not given.
func (o *Object) Int(key string, otherwise, least, most int64) int64 {
	if n := o.Get(key); n != nil {
		return o.File.Int(n, o.name(key), least, most)
	}
	return otherwise
}

// NeedInt is the whole number of a key that must be given.
func (o *Object) NeedInt(key string, least, most int64) int64 {
	return o.File.Int(o.Need(key), o.name(key), least, most)
}

// NeedChoice is the text of a key that must be given and be one of the choices.
func (o *Object) NeedChoice(key string, choices ...string) string {
	return o.File.Choice(o.Need(key), o.name(key), choices...)
}

// Flag is true or false, false if the key is not given.
func (o *Object) Flag(key string) bool { return o.File.Flag(o.Get(key), o.name(key)) }

// Duration is a Go duration such as 1s or 250ms, 0 if the key is not given.
func (o *Object) Duration(key string) time.Duration {
	n := o.Get(key)
	if n == nil {
		return 0
	}
	o.File.Takes(n, Form{Type: "string", Pattern: durationPattern})
	d, err := time.ParseDuration(n.Text)
	if n.Kind != Scalar || err != nil || d <= 0 || d > 24*time.Hour {
		o.File.Report(n, RuleWrongType, "%s must be a time between 0 and 24h with its unit, such as 1s or 250ms; this is %s", o.name(key), n.shown())
		return 0
	}
	return d
}

// List is the items of a key's list, none if it is not given.
func (o *Object) List(key string) []*Node { return o.File.List(o.Get(key), o.name(key)) }

// NeedList is the items of a list that must be given and hold something.
func (o *Object) NeedList(key string) []*Node {
	n := o.Need(key)
	items := o.File.List(n, o.name(key))
	if n != nil && n.Kind == List && len(items) == 0 {
		o.File.Report(n, RuleMissingKey, "%s is empty", o.name(key))
	}
	return items
}

// durationPattern is how a time is written, in the notation of JSON Schema.
const durationPattern = `^([0-9]+(\.[0-9]+)?(ns|us|µs|ms|s|m|h))+$`

func (o *Object) name(key string) string { return strconv.Quote(key) + " of " + o.what }

// Text is a scalar's text. It notes a node that is none; nil is "".
func (f *File) Text(n *Node, what string) string {
	f.Takes(n, Form{Type: "text"})
	return f.text(n, what)
}

func (f *File) text(n *Node, what string) string {
	if n == nil {
		return ""
	}
	if n.Kind != Scalar || n.Text == "" || n.null() {
		f.Report(n, RuleWrongType, "%s must be text; this is %s", what, n.shown())
		return ""
	}
	return n.Text
}

// Flag is whether a scalar says true; nil or a mistake is false.
func (f *File) Flag(n *Node, what string) bool {
	f.Takes(n, Form{Type: "boolean"})
	if n == nil {
		return false
	}
	if n.Kind != Scalar || n.Quoted || n.Text != "true" && n.Text != "false" {
		f.Report(n, RuleWrongType, "%s must be true or false; this is %s", what, n.shown())
	}
	return n.Text == "true"
}

func (n *Node) null() bool { return n.Kind == Scalar && !n.Quoted && n.Text == "null" }

// shown is the node as messages show it.
func (n *Node) shown() string {
	switch {
	case n.null():
		return "nothing"
	case n.Kind == Scalar && n.Quoted:
		return strconv.Quote(n.Text) + " in quotes"
	case n.Kind == Scalar:
		return strconv.Quote(n.Text)
	}
	return n.Kind.String()
}

// Choice is a scalar's text if it is one of the choices; nil is "".
func (f *File) Choice(n *Node, what string, choices ...string) string {
	f.Takes(n, Form{Type: "string", Choices: choices})
	text := f.text(n, what)
	if text == "" || slices.Contains(choices, text) {
		return text
	}
	f.Report(n, RuleWrongType, "%s must be %s; this is %q", what, strings.Join(choices, " or "), text)
	return ""
}

// Int is a scalar as a whole number between least and most, in decimal or
// 0x hexadecimal; nil or a mistake is least.
func (f *File) Int(n *Node, what string, least, most int64) int64 {
	if n == nil {
		return least
	}
	f.Takes(n, Form{Type: "integer", Least: least, Most: most})
	number, err := ParseInt(n.Text)
	switch {
	case n.Kind == Scalar && !n.Quoted && err == nil && number >= least && number <= most:
		return number
	case least == most:
		f.Report(n, RuleWrongType, "%s must be %d; this is %s", what, least, n.shown())
	default:
		f.Report(n, RuleWrongType, "%s must be a whole number from %d to %d; this is %s", what, least, most, n.shown())
	}
	return least
}

var wholeNumber = regexp.MustCompile(`^(0|-?[1-9][0-9]*|-?0x[0-9A-Fa-f]+)$`)

// ParseInt reads a whole number in decimal or 0x hexadecimal. A leading 0 is
// refused, as it means octal to some and nothing to others; so is -0.
func ParseInt(text string) (int64, error) {
	if !wholeNumber.MatchString(text) {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseInt(text, 0, 64)
}

// ParseBits reads a raw value of so many bits, 1 to 64, in the notation of
// [ParseInt]. A negative one is its two's complement.
func ParseBits(text string, bits int) (uint64, error) {
	mask := uint64(math.MaxUint64) >> (64 - bits)
	if strings.HasPrefix(text, "-") {
		number, err := ParseInt(text)
		if err == nil && number < -1<<(bits-1) {
			err = strconv.ErrRange
		}
		return uint64(number) & mask, err
	}
	if !wholeNumber.MatchString(text) {
		return 0, strconv.ErrSyntax
	}
	number, err := strconv.ParseUint(text, 0, 64)
	if err == nil && number > mask {
		err = strconv.ErrRange
	}
	return number & mask, err
}

// List is the items of a list; nil has none.
func (f *File) List(n *Node, what string) []*Node {
	if n == nil {
		return nil
	}
	if n.Kind != List {
		f.Report(n, RuleWrongType, "%s must be a list, [a, b] or lines that begin with a dash; this is %s", what, n.shown())
		return nil
	}
	return n.Items
}
