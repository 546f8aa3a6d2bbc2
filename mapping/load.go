package mapping

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

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

// options reads what a file offers and takes what the user chose.
func (l *loader) options(n *document.Node, chosen map[string]string) (options []Option) {
	if n != nil {
		if o := l.Object(n, "options"); o != nil {
			for _, p := range n.Pairs {
				options = append(options, l.option(p))
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(chosen)) {
		l.choose(options, name, chosen[name])
	}
	return options
}

func (l *loader) option(p document.Pair) Option {
	opt := Option{Name: p.Key.Text}
	if !plainName.MatchString(opt.Name) {
		l.Report(p.Key, RuleName, "an option's name must be small letters, digits and single dashes; this is %q", opt.Name)
	}
	o := l.Object(p.Value, "an option")
	if o == nil {
		return opt
	}
	opt.Title = o.NeedText("title")
	for _, c := range o.NeedList("choices") {
		opt.Choices = append(opt.Choices, l.Text(c, "a choice"))
	}
	opt.Default = o.NeedText("default")
	opt.Chosen = opt.Default
	if opt.Default != "" && !slices.Contains(opt.Choices, opt.Default) {
		l.Report(o.Node.Get("default"), RuleOption, "the default %q is none of the choices: %s", opt.Default, orNone(opt.Choices))
	}
	o.Done()
	return opt
}

func (l *loader) choose(options []Option, name, choice string) {
	i := slices.IndexFunc(options, func(o Option) bool { return o.Name == name })
	switch {
	case i < 0:
		names := make([]string, len(options))
		for i, o := range options {
			names[i] = o.Name
		}
		l.wrongOption = fmt.Errorf("mapping %s has no option %q; it has: %s", l.Name, name, orNone(names))
	case !slices.Contains(options[i].Choices, choice):
		l.wrongOption = fmt.Errorf("mapping %s: option %s must be %s, not %q", l.Name, name, strings.Join(options[i].Choices, " or "), choice)
	default:
		options[i].Chosen = choice
	}
}

func orNone(names []string) string {
	if len(names) == 0 {
		return "none"
	}
	return strings.Join(names, ", ")
}

// substitute puts the choice of an option wherever a plain value is $name.
func (l *loader) substitute(n *document.Node, options []Option) {
	if name, is := strings.CutPrefix(n.Text, "$"); is && n.Kind == document.Scalar && !n.Quoted {
		i := slices.IndexFunc(options, func(o Option) bool { return o.Name == name })
		if i < 0 {
			l.Report(n, RuleOption, "%q stands for an option, but the file has no option %q; write '%s' in quotes if it does not", n.Text, name, n.Text)
			l.Spoil(n)
			return
		}
		n.Text = options[i].Chosen
	}
	for _, item := range n.Items {
		l.substitute(item, options)
	}
	for _, p := range n.Pairs {
		l.substitute(p.Value, options)
	}
}

func (l *loader) bus(n *document.Node) (b Bus) {
	if n == nil {
		return b
	}
	o := l.Object(n, "bus")
	if o == nil {
		return b
	}
	media := 0
	for _, medium := range []struct {
		key  string
		read func(*document.Node)
	}{
		{"can", func(n *document.Node) { b.CAN = l.canBus(n) }},
		{"registers", func(n *document.Node) { b.Registers = l.registerBus(n) }},
		{"serial", func(n *document.Node) { b.Serial = l.serialBus(n) }},
	} {
		if n := o.Get(medium.key); n != nil {
			medium.read(n)
			media++
		}
	}
	o.Done()
	if media != 1 {
		l.Report(n, RuleBus, "bus must say one medium: can, registers or serial")
	}
	return b
}

func (l *loader) canBus(n *document.Node) *CANBus {
	o := l.Object(n, "can of bus")
	if o == nil {
		return nil
	}
	b := &CANBus{Bitrate: int(o.NeedInt("bitrate", 1_000, 1_000_000)), IDBits: l.idWidth(o.Need("id_bits"), 11)}
	o.Done()
	l.idBits = b.IDBits
	return b
}

// idWidth is how many bits a CAN id has, otherwise if n is nil.
func (l *loader) idWidth(n *document.Node, otherwise int) int {
	if n == nil {
		return otherwise
	}
	bits := int(l.Int(n, "id_bits", 11, 29))
	if bits != 11 && bits != 29 {
		l.Report(n, RuleBus, "a CAN id has 11 or 29 bits, not %d", bits)
		return 29
	}
	return bits
}

func (l *loader) registerBus(n *document.Node) *RegisterBus {
	l.registers = true
	o := l.Object(n, "registers")
	if o == nil {
		return nil
	}
	b := &RegisterBus{
		Table:        o.NeedChoice("table", "holding", "input"),
		ModelsAt:     int(o.Int("models_at", -1, 0, 65_000)),
		Units:        [2]int{1, lastUnit},
		Baud:         int(o.Int("baud", 0, 50, 4_000_000)),
		Frame:        o.Choice("frame", "8N1", "8E1", "8O1", "8N2", "7E1", "7O1", "7N2"),
		Most:         int(o.Int("most", mostRegisters, 1, mostRegisters)),
		AnswerWithin: o.Duration("answer_within"),
		Quiet:        o.Duration("quiet"),
	}
	if n := o.Get("units"); n != nil {
		b.Units = l.span(n, "units", 1, lastUnit)
	}
	o.Done()
	return b
}

// span reads the first and the last number, such as an address, that can be a
// pack.
func (l *loader) span(n *document.Node, what string, least, most int64) [2]int {
	if n.Kind != document.List || len(n.Items) != 2 {
		l.Report(n, document.RuleWrongType, "%s must be [first, last], such as [1, 16]", what)
		return [2]int{int(least), int(most)}
	}
	first := l.Int(n.Items[0], "the first of "+what, least, most)
	return [2]int{int(first), int(l.Int(n.Items[1], "the last of "+what, first, most))}
}
