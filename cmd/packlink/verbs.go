package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/pflag"
)

// verb is one thing packlink does.
type verb struct {
	name    string
	args    string // as the synopsis shows them
	summary string
	text    string
	example string
	prepare func(*pflag.FlagSet) func(ctx context.Context, args []string, s *streams) error
}

// verbs are all verbs, in the order of the overview. It is a function, as the
// help verb lists them.
func verbs() []*verb {
	return []*verb{&adaptersVerb, &listenVerb, &identifyVerb, &recordVerb, &replayVerb, &decodeVerb, &bridgeVerb, &simulateVerb, &mappingVerb, &versionVerb}
}

func findVerb(name string) *verb {
	for _, v := range verbs() {
		if v.name == name {
			return v
		}
	}
	return nil
}

const overview = `packlink reads battery packs on their own bus, says what is there, and
republishes it for inverters and loggers.

usage: packlink VERB [flags] [arguments]

`

const overviewEnd = `
Begin with the demonstration bank, which needs no hardware:

  packlink bridge

packlink help VERB tells more about a verb. Data goes to stdout, everything
else to stderr. Exit codes: 0 done, 1 failed, 2 the command line is wrong,
3 the thing checked does not hold.

packlink is a monitoring aid, not a protection device. Battery packs can burn
and shock: follow local codes and leave work on them to licensed practice.
`

func writeOverview(w io.Writer) {
	fmt.Fprint(w, overview)
	for _, v := range verbs() {
		fmt.Fprintf(w, "  %-9s %s\n", v.name, v.summary)
	}
	fmt.Fprint(w, overviewEnd)
}

// help shows the overview, or what a verb does.
func help(args []string, s *streams) error {
	if len(args) == 0 || args[0] == "help" {
		writeOverview(s.out)
		return nil
	}
	v := findVerb(args[0])
	if v == nil {
		return &hinted{usageError{fmt.Errorf("there is no verb %q", args[0])}, "packlink help"}
	}
	flags := pflag.NewFlagSet(v.name, pflag.ContinueOnError)
	flags.SortFlags = false
	v.prepare(flags)
	v.write(s.out, flags)
	return nil
}

// write shows a verb's help.
func (v *verb) write(w io.Writer, flags *pflag.FlagSet) {
	fmt.Fprintf(w, "packlink %s: %s\n\nusage: %s\n\n%s\n", v.name, v.summary,
		strings.TrimRight("packlink "+v.name+" "+v.args, " "), strings.TrimSpace(v.text))
	if usage := flags.FlagUsages(); usage != "" {
		fmt.Fprintf(w, "\nflags:\n%s", usage)
	}
	if v.example != "" {
		fmt.Fprintf(w, "\nexamples:\n%s", v.example)
	}
}
