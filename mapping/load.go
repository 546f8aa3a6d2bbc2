package mapping

import (
	"regexp"
	"slices"

	"packlink/mapping/document"
)

// Load reads a mapping file. The options choose among what the file offers;
// nil takes its defaults. The error is [document.Problems], every mistake of
// the file at its place, or says which option does not exist.
func Load(name string, data []byte, options map[string]string) (*Mapping, error) {
	root, file := document.Parse(name, data)
	m, err := load(root, file, options)
	if err == nil {
		err = file.Sorted().Err()
	}
	if err != nil {
		return nil, err
	}
	return m, nil
}

// Draft reads a mapping file as [Load] does, and takes one whose messages have
// no examples yet. It is to look at: nothing shows that a draft is right.
func Draft(name string, data []byte, options map[string]string) (*Mapping, error) {
	root, file := document.Parse(name, data)
	m, err := load(root, file, options)
	if err == nil {
		isDraft := func(p document.Problem) bool { return p.Rule == RuleDraft }
		err = slices.DeleteFunc(file.Sorted(), isDraft).Err()
	}
	if err != nil {
		return nil, err
	}
	return m, nil
}

// load reads a file's tree and notes its mistakes in the file. The error says
// which option does not exist.
func load(root *document.Node, file *document.File, options map[string]string) (*Mapping, error) {
	if root == nil {
		return nil, nil
	}
	l := &loader{File: file, broken: make(map[*document.Node]bool)}
	m := l.mapping(root, options)
	if l.wrongOption != nil {
		return nil, l.wrongOption
	}
	if m != nil {
		check(file, m, l.broken)
	}
	return m, nil
}

var plainName = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)

// loader reads one file. What is said once for the whole file stands here.
type loader struct {
	*document.File
	byteOrder   string
	wordOrder   string
	missing     map[string][]Raws // "not available" values by type name
	registers   bool
	idBits      int
	serial      *SerialBus
	offered     []Option
	choices     []map[string]string     // of the examples
	broken      map[*document.Node]bool // fields and messages that cannot be read, so need no check
	wrongOption error
}

func (l *loader) mapping(root *document.Node, options map[string]string) *Mapping {
	o := l.Object(root, "a mapping")
	if o == nil {
		return nil
	}
	m := &Mapping{}
	o.NeedInt("packlink", Format, Format)
	l.Takes(root.Get("name"), document.Form{Type: "string", Pattern: plainName.String()})
	if m.Name = o.NeedText("name"); m.Name != "" && !plainName.MatchString(m.Name) {
		l.Report(o.Node.Get("name"), RuleName, "the name must be small letters, digits and single dashes, such as storage-can-35x; this is %q", m.Name)
	}
	m.Title = o.NeedText("title")
	m.Notes = o.Text("notes")
	m.Source = l.sources(o.Need("source"))
	m.Options = l.options(o.Get("options"), options)
	l.substitute(root, m.Options)
	l.offered = m.Options
	m.Bus = l.bus(o.Need("bus"))
	l.byteOrder, l.wordOrder = l.orders(o)
	l.missing = l.missingByType(o.Get("missing"))
	messages := o.NeedList("messages")
	if m.Bus != (Bus{}) { // without a bus nothing tells what a message is
		for _, n := range messages {
			m.Messages = append(m.Messages, l.message(n))
		}
	}
	o.Done()
	m.Choices = l.choices
	return m
}

func (l *loader) sources(n *document.Node) (sources []Source) {
	for _, item := range l.List(n, `"source"`) {
		o := l.Object(item, "a source")
		if o == nil {
			continue
		}
		sources = append(sources, Source{Title: o.NeedText("title"), Part: o.Text("part")})
		o.Done()
	}
	if n != nil && n.Kind == document.List && len(n.Items) == 0 {
		l.Report(n, RuleSource, "say where the file's statements come from: a document, or \"common practice, from memory\"")
	}
	return sources
}
