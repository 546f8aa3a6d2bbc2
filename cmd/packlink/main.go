// Command packlink reads documented battery packs on their own bus and
// republishes what they say.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/pflag"
)

// Exit codes of the program.
const (
	exitDone       = 0
	exitFailed     = 1
	exitUsage      = 2 // the command line is wrong
	exitDoesNotFit = 3 // the thing that was checked does not hold
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], &streams{os.Stdout, os.Stderr})
	stop()
	os.Exit(code)
}

// streams are where a verb writes: data to out, everything else to log.
type streams struct {
	out io.Writer
	log io.Writer
}

// usageError says that the command line is wrong.
type usageError struct{ error }

// doesNotHold says that the thing that was checked does not hold.
type doesNotHold struct{ error }

// hinted is an error with a command that would help.
type hinted struct {
	error
	try string
}

// Unwrap is the error without the hint.
func (h *hinted) Unwrap() error { return h.error }

// run runs a command line and returns the exit code.
func run(ctx context.Context, args []string, s *streams) int {
	err := dispatch(ctx, args, s)
	if err == nil || errors.Is(err, pflag.ErrHelp) {
		return exitDone
	}
	fmt.Fprintln(s.log, "packlink:", err)
	var hint *hinted
	if errors.As(err, &hint) {
		fmt.Fprintln(s.log, "try:", hint.try)
	}
	switch err := err.(type) {
	case usageError:
		return exitUsage
	case doesNotHold:
		return exitDoesNotFit
	case *hinted:
		if _, is := err.error.(usageError); is {
			return exitUsage
		}
	}
	return exitFailed
}

// dispatch finds the verb and runs it.
func dispatch(ctx context.Context, args []string, s *streams) error {
	if len(args) == 0 {
		writeOverview(s.log)
		return usageError{errors.New("no verb is given")}
	}
	name, rest := args[0], args[1:]
	switch name {
	case "help", "--help", "-h":
		return help(rest, s)
	case "--version":
		name = "version"
	}
	v := findVerb(name)
	if v == nil {
		return &hinted{usageError{fmt.Errorf("there is no verb %q", name)}, "packlink help"}
	}
	flags := pflag.NewFlagSet(v.name, pflag.ContinueOnError)
	flags.SetOutput(io.Discard)
	flags.SortFlags = false
	flags.Usage = func() { v.write(s.out, flags) }
	work := v.prepare(flags)
	if err := flags.Parse(rest); err != nil {
		if errors.Is(err, pflag.ErrHelp) {
			return err
		}
		return &hinted{usageError{fmt.Errorf("%s: %w", v.name, err)}, "packlink help " + v.name}
	}
	return work(ctx, flags.Args(), s)
}
