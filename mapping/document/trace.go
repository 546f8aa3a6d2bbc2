package document

import "slices"

// Form is one thing that a value can be, in the terms of JSON Schema.
type Form struct {
	Type        string // "string", "integer", "number", "boolean", "null", or "text" for any single value
	Least, Most int64  // of an integer; both 0 if any is taken
	Choices     []string
	Pattern     string
}

func (a Form) equal(b Form) bool {
	return a.Type == b.Type && a.Least == b.Least && a.Most == b.Most && a.Pattern == b.Pattern && slices.Equal(a.Choices, b.Choices)
}

// Trace notes what a loader asks of the files that it reads: which keys it
// takes from each kind of map, and what it takes their values for. So it knows
// what the loader knows, and a schema that is made from it cannot differ from
// the loader. The zero value is ready.
type Trace struct {
	Kinds map[string]*KindTrace // by what messages call the map, such as "a field"
	named map[*Node]string      // the kind of each map
	forms map[*Node][]Form      // of single values
}

// KindTrace is what was asked of one kind of map.
type KindTrace struct {
	Maps int // maps of the kind
	Keys map[string]*KeyTrace
	Own  []*Node // values of keys that the file itself has made
}

// KeyTrace is what was asked of one key. Needed is how often it had to be there.
type KeyTrace struct {
	Needed int
	Nodes  []*Node // its values
}

// Follow has the trace note what is asked of the file from now on.
func (t *Trace) Follow(f *File) {
	if t.Kinds == nil {
		*t = Trace{make(map[string]*KindTrace), make(map[*Node]string), make(map[*Node][]Form)}
	}
	f.trace = t
}

// Forms are what a node was taken for, none if nothing said.
func (t *Trace) Forms(n *Node) []Form { return t.forms[n] }

// Named is the kind of a map, "" if it was not read as one.
func (t *Trace) Named(n *Node) string { return t.named[n] }

// Takes notes that a reader takes a node for a form. A reader of its own
// notation says so; those of this package do. A plain text that some reader
// takes for less is that.
func (f *File) Takes(n *Node, form Form) {
	if f.trace == nil || n == nil {
		return
	}
	anyText := Form{Type: "text"}
	forms := slices.DeleteFunc(f.trace.forms[n], func(other Form) bool { return other.equal(anyText) })
	if len(forms) == 0 || !form.equal(anyText) {
		forms = append(forms, form)
	}
	f.trace.forms[n] = forms
}

func (t *Trace) object(n *Node, kind string) {
	if t == nil {
		return
	}
	t.named[n] = kind
	t.kind(kind).Maps++
}

func (t *Trace) kind(name string) *KindTrace {
	if t.Kinds[name] == nil {
		t.Kinds[name] = &KindTrace{Keys: make(map[string]*KeyTrace)}
	}
	return t.Kinds[name]
}

func (t *Trace) asked(kind, key string, value *Node) {
	if t == nil {
		return
	}
	keys := t.kind(kind).Keys
	if keys[key] == nil {
		keys[key] = &KeyTrace{}
	}
	if value != nil {
		keys[key].Nodes = append(keys[key].Nodes, value)
	}
}

func (t *Trace) own(kind string, value *Node) {
	if t != nil && value != nil {
		t.kind(kind).Own = append(t.kind(kind).Own, value)
	}
}

func (t *Trace) needed(kind, key string) {
	if t != nil {
		t.Kinds[kind].Keys[key].Needed++
	}
}
