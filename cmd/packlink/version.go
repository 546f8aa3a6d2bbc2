package main

import (
	"context"
	"fmt"
	"runtime"

	"github.com/spf13/pflag"
)

// version is the version of the program.
const version = "0.1.0"

var versionVerb = verb{
	name:    "version",
	summary: "shows the version",
	text:    "Shows the version of packlink, and of Go it was built with.",
	prepare: func(*pflag.FlagSet) func(context.Context, []string, *streams) error {
		return func(_ context.Context, args []string, s *streams) error {
			if len(args) > 0 {
				return usageError{fmt.Errorf("version: takes no arguments, and %q is given", args[0])}
			}
			_, err := fmt.Fprintf(s.out, "packlink %s (%s %s/%s)\n", version, runtime.Version(), runtime.GOOS, runtime.GOARCH)
			return err
		}
	},
}
