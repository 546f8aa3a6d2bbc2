package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/pflag"

	"packlink/mapping"
	"packlink/mapping/document"
	"packlink/mapping/library"
)

var mappingVerb = verb{
	name:    "mapping",
	args:    "list | show NAME|FILE | lint FILE... | import FILE",
	summary: "lists, shows, checks and begins mapping files",
	text: `
A mapping file says what the frames of a protocol mean; docs/mapping.md
describes the format.

  list   lists the built-in mappings
  show   shows a mapping as a table: each message, each field, unit and scale.
         With --hex it accounts for every bit of one frame: a CAN frame by --id
         or as 355#6000, a Modbus RTU or serial frame whole, registers from
         --register on. With --in it lists the different frames of a capture,
         with one sample of each; the mapping may still lack its examples
  lint   checks mapping files: every mistake with its place, and every example
         run both ways; exit code 3 if a file does not hold
  import drafts a mapping from a DBC file (.dbc) or a SunSpec model definition
         (.json): every field at its place, with its type and a proposal what it
         could be; what it means is left to you. What cannot be put into a
         mapping is told`,
	example: `  packlink mapping show storage-can-35x
  packlink mapping show storage-can-35x --hex 355#60006300
  packlink mapping show ./my-pack.yaml --in bench.pcapng
  packlink mapping lint ./my-pack.yaml
  packlink mapping import ./pack.dbc --to my-pack.yaml
`,
	prepare: func(flags *pflag.FlagSet) func(context.Context, []string, *streams) error {
		j := &mappingJob{}
		flags.StringVar(&j.hex, "hex", "", "show: the bytes of a frame, in hexadecimal digits")
		flags.StringVar(&j.in, "in", "", "show: the `capture` whose different frames are listed")
		flags.StringVar(&j.id, "id", "", "show: the CAN id of the frame, 3 hexadecimal digits, or 8 of an extended one")
		flags.IntVar(&j.register, "register", -1, "show: the first register that the bytes hold")
		flags.StringVar(&j.asked, "asked", "", "show: the question that a serial frame answers, in hexadecimal digits")
		flags.BoolVar(&j.json, "json", false, "show: the account of a frame, or the frames of a capture, as JSON")
		flags.StringVar(&j.to, "to", "", "import: the file to write, which must not exist yet (default: stdout)")
		return j.run
	},
}

// mappingJob is what was asked of mapping files.
type mappingJob struct {
	to       string // file to write
	in       string // capture to look into
	hex      string // a frame, with what else is known of it
	id       string
	register int
	asked    string
	json     bool
}

func (j *mappingJob) run(ctx context.Context, args []string, s *streams) error {
	wrong := func(format string, a ...any) error {
		return &hinted{usageError{fmt.Errorf("mapping: "+format, a...)}, "packlink help mapping"}
	}
	switch {
	case len(args) == 0:
		return wrong("say what to do: list, show, lint or import")
	case j.to != "" && args[0] != "import":
		return wrong("--to is for import")
	case j.ofFrame() && (args[0] != "show" || j.hex == ""):
		return wrong("--id, --register and --asked are for show with --hex")
	case j.in != "" && (args[0] != "show" || j.ofFrame()):
		return wrong("--in is for show, without a frame of its own")
	case j.json && (args[0] != "show" || j.hex == "" && j.in == ""):
		return wrong("--json is for show with --hex or --in")
	case args[0] == "list" && len(args) == 1:
		return listMappings(s)
	case args[0] == "show" && len(args) == 2 && j.hex != "":
		return j.showFrame(args[1], s)
	case args[0] == "show" && len(args) == 2 && j.in != "":
		return j.showFrames(ctx, args[1], s)
	case args[0] == "show" && len(args) == 2:
		return showMapping(args[1], s)
	case args[0] == "lint" && len(args) > 1:
		return lintMappings(args[1:], s)
	case args[0] == "import" && len(args) == 2:
		return j.importFile(args[1], s)
	case slices.Contains([]string{"show", "lint", "import"}, args[0]) && len(args) == 1:
		return wrong("%s needs a %s", args[0], map[string]string{"show": "mapping: packlink mapping list names those built in", "lint": "mapping file", "import": "file of messages"}[args[0]])
	case slices.Contains([]string{"list", "show", "lint", "import"}, args[0]):
		return wrong("%s does not take %d arguments", args[0], len(args)-1)
	}
	return wrong("there is no %q; there are list, show, lint and import", args[0])
}

// counted is a number of things: "1 message", "2 messages".
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

func listMappings(s *streams) error {
	w := tabwriter.NewWriter(s.out, 0, 0, 2, ' ', 0)
	for _, name := range library.Names() {
		m, err := library.Load(name)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%s\t%s\n", m.Name, m.Title)
	}
	return w.Flush()
}

// lintMapping checks a mapping by the options that are chosen; if none is, by
// each set of choices that it has examples for.
func lintMapping(reference string) (messages, examples int, err error) {
	references := []string{reference}
	for i := 0; i < len(references); i++ {
		table, err := soundMapping(references[i])
		if err != nil {
			return 0, 0, err
		}
		if i == 0 && !strings.Contains(reference, "?") {
			for _, choices := range table.Choices {
				references = append(references, mapping.Reference(reference, choices))
			}
		}
		messages = len(table.Messages)
		for _, msg := range table.Messages {
			examples += len(msg.Examples)
		}
	}
	return messages, examples, nil
}

// lintMappings checks files, and built-in mappings by name.
func lintMappings(references []string, s *streams) error {
	bad := 0
	var lost error
	for _, reference := range references {
		messages, examples, err := lintMapping(reference)
		var problems document.Problems
		switch {
		case err == nil:
			fmt.Fprintf(s.out, "%s: sound: %s, %s run both ways\n", reference, counted(messages, "message"), counted(examples, "example"))
		case errors.As(err, &problems):
			bad++
			fmt.Fprintf(s.out, "%v\n%s: %s\n", err, reference, counted(len(problems), "problem"))
		default:
			bad++
			fmt.Fprintln(s.out, err)
			lost = err
		}
	}
	switch {
	case lost != nil:
		return fmt.Errorf("mapping lint: %w", lost)
	case bad > 0:
		return doesNotHold{fmt.Errorf("mapping lint: %d of %d files do not hold", bad, len(references))}
	}
	return nil
}

// showMapping shows a mapping as a table.
func showMapping(reference string, s *streams) error {
	m, err := draftMapping(reference)
	if err != nil {
		return err
	}
	return m.WriteTable(s.out)
}

// draftMapping loads a mapping to look at, which may lack its examples.
func draftMapping(reference string) (*mapping.Mapping, error) {
	m, err := library.Draft(reference)
	return m, noMapping(err)
}

// noMapping says why the file of a mapping cannot be read.
func noMapping(err error) error { return unreadable(err, "mapping", "packlink mapping list") }
