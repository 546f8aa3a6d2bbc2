package mapping

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"packlink/mapping/document"
)

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
