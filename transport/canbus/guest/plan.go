package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"strings"

	"packlink/transport/canbus/guest/job"
)

// plan is what the command line asks for.
type plan struct {
	commands []job.Command
	files    map[string]string // where in the guest, and from where on the host; both may be folders
}

// list is a flag that may be given several times.
type list []string

func (l *list) String() string         { return strings.Join(*l, " ") }
func (l *list) Set(value string) error { *l = append(*l, value); return nil }

// parse reads the command line: one or more commands, separated by "--". folder is
// the current one, below the root of the repository.
func parse(args []string, folder string) (plan, error) {
	p := plan{files: map[string]string{}}
	for len(args) > 0 {
		end := 0
		for end < len(args) && args[end] != "--" {
			end++
		}
		if err := p.add(args[:end], folder); err != nil {
			return plan{}, err
		}
		args = args[min(end+1, len(args)):]
	}
	if len(p.commands) == 0 {
		return plan{}, fmt.Errorf("no program to run is named\n%s", usage)
	}
	return p, nil
}

// add reads one command with the flags before it.
func (p *plan) add(args []string, current string) error {
	flags := flag.NewFlagSet("guest", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	var put, env list
	folder := flags.String("in", current, "")
	flags.Var(&put, "put", "")
	flags.Var(&env, "env", "")
	if err := flags.Parse(args); err != nil {
		return fmt.Errorf("%w\n%s", err, usage)
	}
	if flags.NArg() == 0 {
		return fmt.Errorf("no program to run is named\n%s", usage)
	}
	for _, item := range put {
		from, to, _ := strings.Cut(item, "=")
		if to == "" {
			to = filepath.ToSlash(from)
		}
		p.files[path.Join(job.Root, to)] = from
	}
	program := fmt.Sprintf("/test/%d-%s", len(p.commands), filepath.Base(flags.Arg(0)))
	p.files[program] = flags.Arg(0)
	p.files[path.Join(job.Root, current, testdata)] = testdata
	p.commands = append(p.commands, job.Command{
		Folder: path.Join(job.Root, *folder),
		Args:   append([]string{program}, forGuest(flags.Args()[1:])...),
		Env:    environment(env),
	})
	return nil
}

// testdata is the folder that a test finds beside itself, if it has one.
const testdata = "testdata"

// forGuest drops the arguments by which go test keeps its books on the host.
func forGuest(args []string) (kept []string) {
	for _, a := range args {
		if !strings.HasPrefix(a, "-test.testlogfile=") && !strings.HasPrefix(a, "-test.gocoverdir=") {
			kept = append(kept, a)
		}
	}
	return kept
}

// environment is what a command finds: the guest's own, and what was asked for.
// A name without a value has that of the host.
func environment(asked []string) []string {
	env := []string{"PATH=/usr/bin", "HOME=/tmp", "CI=true", job.Marker + "=1"}
	for _, item := range asked {
		if !strings.Contains(item, "=") {
			item += "=" + os.Getenv(item)
		}
		env = append(env, item)
	}
	return env
}
