package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"github.com/spf13/pflag"

	"packlink/decode"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

var identifyVerb = verb{
	name:    "identify",
	args:    "ENDPOINT [--json] [--with FILE]... [--for 30s] [--ask]",
	summary: "says which mappings explain a capture or a live bus, with the evidence",
	text: `
Tries every built-in mapping on a capture, or on a live bus, and says which one
explains it, with the evidence for and against each. It only listens: nothing is
transmitted. A live bus is heard until the answer is clear, or for as long as --for
says.

A pack on a serial line is silent unless it is asked. With --ask, and only then,
packlink asks: questions that read, of one mapping, speed and address at a time. Do
so only where no other master asks on the line.

"Not sure" is an answer, with exit code 3: too little was heard, nothing fits, or
two mappings fit alike.`,
	example: `  packlink identify bench.pcapng
  packlink identify can:can0
  packlink identify serial:/dev/ttyUSB0?baud=9600 --for 1m
  packlink identify serial:/dev/ttyUSB0 --ask
  packlink identify bench.pcapng --with ./my-pack.yaml --json
`,
	prepare: func(flags *pflag.FlagSet) func(context.Context, []string, *streams) error {
		j := identifyJob{}
		flags.BoolVar(&j.json, "json", false, "write the verdict as one JSON object")
		flags.StringArrayVar(&j.with, "with", nil, "try this mapping `file` too; may be given several times")
		flags.BoolVar(&j.ask, "ask", false, "transmit questions that read, and listen to the answers")
		flags.DurationVar(&j.most, "for", 30*time.Second, "`time` to hear a live bus at most, or with --ask a pack that answers")
		return j.run
	},
}

// identifyJob is one run of the identify verb.
type identifyJob struct {
	json bool
	ask  bool
	with []string
	most time.Duration
}

func (j *identifyJob) run(ctx context.Context, args []string, s *streams) error {
	if len(args) != 1 {
		return &hinted{usageError{fmt.Errorf("identify: takes one endpoint, and %d are given", len(args))}, "packlink help identify"}
	}
	if j.most <= 0 {
		return usageError{fmt.Errorf("identify: --for %v must be above 0", j.most)}
	}
	from, err := transport.ParseEndpoint(args[0])
	if err != nil {
		return usageError{err}
	}
	tables, err := j.tables()
	if err != nil {
		return err
	}
	verdict, err := j.verdict(ctx, from, tables, s)
	if err != nil {
		return err
	}
	if err := j.show(verdict, s); err != nil {
		return fmt.Errorf("cannot write the verdict: %w", err)
	}
	if verdict.Chosen == nil {
		return doesNotHold{fmt.Errorf("not sure which mapping explains %s: %s", from, j.doubt(&verdict))}
	}
	return nil
}

// doubt says why there is no answer, and what to look at.
func (j *identifyJob) doubt(v *decode.Verdict) string {
	answered := slices.ContainsFunc(v.Candidates, func(e decode.Evidence) bool { return e.Frames > 0 })
	switch {
	case j.ask && !answered:
		return "nobody answered; look at the wiring of A and B, at the pack's address switch, and whether another master asks on the line"
	case v.Frames == 0:
		return "nothing was heard; a pack on a serial line may speak only when it is asked: another master must ask, or --ask be given"
	}
	return v.Doubt()
}

// tables are the built-in mappings and those that the user names.
func (j *identifyJob) tables() ([]*mapping.Compiled, error) {
	tables, err := compileLibrary()
	for _, reference := range j.with {
		if err != nil {
			break
		}
		var table *mapping.Compiled
		table, err = soundMapping(reference)
		tables = append(tables, table)
	}
	return tables, err
}

func (j *identifyJob) verdict(ctx context.Context, from transport.Endpoint, tables []*mapping.Compiled, s *streams) (decode.Verdict, error) {
	if !isLive(from) {
		if err := from.Allow(); err != nil {
			return decode.Verdict{}, usageError{err}
		}
		if j.ask {
			return decode.Verdict{}, usageError{fmt.Errorf("identify: %s is a recording, and nobody there answers: leave out --ask", from)}
		}
		return tryCapture(from.Address, tables)
	}
	if j.ask {
		return j.tryAsking(ctx, from, tables, s)
	}
	return j.tryBus(ctx, from, tables, s)
}

// framesToIdentify is how many frames of a capture are tried at most.
const framesToIdentify = 5000

// tryCapture tries mappings on the beginning of a capture.
func tryCapture(path string, tables []*mapping.Compiled) (decode.Verdict, error) {
	r, err := openCapture(path)
	if err != nil {
		return decode.Verdict{}, err
	}
	defer r.Close()
	trial := decode.NewTrial(tables)
	var f transport.Frame
	in := patient{Receiver: r}
	for range framesToIdentify {
		if err := in.Receive(&f); ended(err) {
			break
		} else if err != nil {
			return decode.Verdict{}, err
		}
		trial.Frame(&f)
	}
	return trial.Result(), nil
}

// framesOfBus is how many frames of a live bus are heard before it is said that
// the answer is clear: a mapping of several periods has shown all its messages.
const framesOfBus = 100

// tryBus hears a live bus until the answer is clear or time is out.
func (j *identifyJob) tryBus(ctx context.Context, from transport.Endpoint, tables []*mapping.Compiled, s *streams) (decode.Verdict, error) {
	ctx, cancel := context.WithTimeout(ctx, j.most)
	defer cancel()
	r, err := listenTo(ctx, from, func(text string) { fmt.Fprintln(s.log, text) })
	if err != nil {
		return decode.Verdict{}, err
	}
	defer r.Close()
	trial, mu := decode.NewTrial(tables), sync.Mutex{}
	heard := make(chan error, 1)
	go func() {
		heard <- receive(ctx, r, func(f *transport.Frame) error {
			mu.Lock()
			defer mu.Unlock()
			trial.Frame(f)
			return nil
		})
		cancel()
	}()
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			err := <-heard
			return trial.Result(), err
		case <-tick.C:
		}
		mu.Lock()
		verdict := trial.Result()
		mu.Unlock()
		if isTerminal(s.log) {
			fmt.Fprintf(s.log, "\rheard %d frames ", verdict.Frames)
		}
		if verdict.Chosen != nil && verdict.Frames >= framesOfBus {
			cancel()
		}
	}
}

// show writes the verdict: as a text that a person reads, or as JSON.
func (j *identifyJob) show(v decode.Verdict, s *streams) error {
	if j.json {
		_, err := s.out.Write(append(v.AppendJSON(nil), '\n'))
		return err
	}
	for i := range v.Candidates {
		e := &v.Candidates[i]
		if e.Explained == 0 {
			continue
		}
		if _, err := fmt.Fprintln(s.out, e.String()); err != nil {
			return err
		}
	}
	if v.Chosen == nil {
		return nil
	}
	_, err := fmt.Fprintf(s.out, "\nmapping: %s\n", v.Chosen.Name)
	return err
}

// chooseFor is the built-in mapping that explains a capture. The error says what
// speaks for and against each.
func chooseFor(path string) (*mapping.Compiled, error) {
	tables, err := compileLibrary()
	if err != nil {
		return nil, err
	}
	v, err := tryCapture(path, tables)
	if err != nil || v.Chosen != nil {
		return v.Chosen, err
	}
	text := "not sure which mapping explains " + path + ": " + v.Doubt()
	for i := range v.Candidates {
		if e := &v.Candidates[i]; e.Explained > 0 {
			text += "\n" + e.String()
		}
	}
	return nil, &hinted{errors.New(text), "packlink decode " + path + " --mapping NAME, with a name of: packlink mapping list"}
}

func compileLibrary() (tables []*mapping.Compiled, err error) {
	for _, name := range library.Names() {
		table, err := library.Compile(name)
		if err != nil {
			return nil, err
		}
		tables = append(tables, table)
	}
	return tables, nil
}
