package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"packlink/transport"
	"packlink/transport/capture"
)

var recordVerb = verb{
	name:    "record",
	args:    "--from ENDPOINT --to FILE.pcapng",
	summary: "writes down every frame or byte of a bus, once, with its time",
	text: `
Listens to a bus and writes what goes by to a pcapng file, until it is stopped.
Nothing is transmitted. What was heard is brought to the disk each second, so that
a power cut takes the last second at most, and never the file. A file that is
there is not written over. With --rotate-size or --rotate-every it writes
bench-0001.pcapng, bench-0002.pcapng and so on.`,
	example: `  packlink record --from can:can0 --to bench.pcapng
  packlink record --from serial:/dev/ttyUSB0?baud=9600 --to line.pcapng --rotate-every 24h
`,
	prepare: func(flags *pflag.FlagSet) func(context.Context, []string, *streams) error {
		j := recordJob{}
		flags.StringVar(&j.from, "from", "", "`endpoint` of the bus")
		flags.StringVar(&j.to, "to", "", "`file` to write")
		flags.StringVar(&j.size, "rotate-size", "", "begin another file after so many bytes, such as 100MB")
		flags.DurationVar(&j.rotation.Time, "rotate-every", 0, "begin another file after this `time`, such as 24h")
		return j.run
	},
}

// recordJob is one run of the record verb.
type recordJob struct {
	from, to, size string
	rotation       capture.Rotation
}

func (j *recordJob) run(ctx context.Context, args []string, s *streams) error {
	switch {
	case len(args) > 0:
		return usageError{fmt.Errorf("record: takes no arguments, and %q is given", args[0])}
	case j.from == "" || j.to == "":
		return &hinted{usageError{errors.New("record: --from and --to must be given")}, "packlink record --from can:can0 --to bench.pcapng"}
	case j.rotation.Time < 0:
		return usageError{fmt.Errorf("record: --rotate-every %v is negative", j.rotation.Time)}
	case !strings.HasSuffix(j.to, ".pcapng"):
		return usageError{fmt.Errorf("record: --to %s: a recording is a pcapng file, so its name ends in .pcapng", j.to)}
	}
	var err error
	if j.rotation.Size, err = parseSize(j.size); err != nil {
		return usageError{fmt.Errorf("record: --rotate-size: %w", err)}
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	log := &together{to: s.log}
	from, err := transport.ParseEndpoint(j.from)
	if err != nil {
		return usageError{err}
	}
	r, err := listenTo(ctx, from, func(text string) { fmt.Fprintln(log, text) })
	if err != nil {
		return err
	}
	defer r.Close()
	medium := transport.Serial
	if from.Scheme == "can" || from.Scheme == "slcan" {
		medium = transport.CAN
	}
	out, err := capture.NewRecorder(j.to, j.rotation, capture.Bus{Name: from.Address, Medium: medium})
	if errors.Is(err, fs.ErrExist) {
		return &hinted{fmt.Errorf("record: a recording is never written over: %w", err), "packlink record --from " + j.from + " --to " + time.Now().UTC().Format("20060102-150405") + ".pcapng"}
	}
	if err != nil {
		return err
	}
	return j.record(ctx, r, out, heardThing(medium), &streams{s.out, log})
}

// record writes what goes by, frames or pieces of bytes, until ctx ends. The file is closed in any case.
func (j *recordJob) record(ctx context.Context, r transport.Receiver, out *capture.Recorder, thing string, s *streams) error {
	begun := time.Now()
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	go func() { // brings it to the disk each second
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
			}
			if err := out.Sync(); err != nil {
				cancel(err)
				_ = r.Close()
				return
			}
			progress(s.log, out, thing, begun)
		}
	}()
	err := receive(ctx, r, out.Send)
	if cause := context.Cause(ctx); err == nil && cause != nil && !errors.Is(cause, context.Canceled) {
		err = cause
	}
	if isTerminal(s.log) {
		fmt.Fprintln(s.log) // behind the progress
	}
	frames, bytes, path := out.Progress()
	if closed := out.Close(); err == nil {
		err = closed
	}
	fmt.Fprintf(s.log, "%s, about %s, in %v, last file %s\n", counted(int(frames), thing), shownSize(bytes), time.Since(begun).Round(time.Second), path)
	return err
}

// progress says how far the recording is, if a person watches.
func progress(log io.Writer, out *capture.Recorder, thing string, begun time.Time) {
	if !isTerminal(log) {
		return
	}
	frames, bytes, path := out.Progress()
	elapsed := time.Since(begun)
	fmt.Fprintf(log, "\r%s: %v, %s, %s, %.0f %ss/s ", path, elapsed.Round(time.Second), counted(int(frames), thing), shownSize(bytes), float64(frames)/elapsed.Seconds(), thing)
}

var sizeUnits = []struct {
	name  string
	bytes int64
}{{"kB", 1e3}, {"MB", 1e6}, {"GB", 1e9}, {"B", 1}}

// parseSize reads a size such as 100MB; "" is 0.
func parseSize(text string) (int64, error) {
	if text == "" {
		return 0, nil
	}
	for _, unit := range sizeUnits {
		digits, has := strings.CutSuffix(text, unit.name)
		n, err := strconv.ParseInt(digits, 10, 32)
		if has && err == nil && n > 0 {
			return n * unit.bytes, nil
		}
	}
	return 0, fmt.Errorf("%q is no size, which is a whole number and its unit, such as 100MB", text)
}

func shownSize(bytes int64) string {
	switch {
	case bytes >= 1e9:
		return fmt.Sprintf("%.1f GB", float64(bytes)/1e9)
	case bytes >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(bytes)/1e6)
	}
	return fmt.Sprintf("%.1f kB", float64(bytes)/1e3)
}
