package main

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/pflag"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
	"packlink/transport/capture"
)

var decodeVerb = verb{
	name:    "decode",
	args:    "CAPTURE [--mapping NAME|FILE] [--every 1s]",
	summary: "turns a recorded bus into status records, one JSON object a line",
	text: `
Reads a capture (pcapng, or the text log of the can-utils), decodes its frames
by a mapping, and writes each pack's status to stdout as JSON lines: at every
whole multiple of --every since the Unix epoch, from the frames up to that
instant, and once at the end. docs/quantities.md lists the keys.

Without --mapping it tries the built-in mappings and takes the one that explains
the traffic; it fails rather than guess.`,
	example: `  packlink decode bench.pcapng
  packlink decode bench.log --mapping storage-can-35x --every 10s
  packlink decode bench.pcapng --mapping ./my-pack.yaml --every 0
`,
	prepare: func(flags *pflag.FlagSet) func(context.Context, []string, *streams) error {
		j := decodeJob{}
		flags.StringVar(&j.mapping, "mapping", "", "built-in `name` or file of the mapping")
		flags.DurationVar(&j.every, "every", time.Second, "time between two records of a pack; 0 gives one after each message")
		return j.run
	},
}

// decodeJob is one run of the decode verb.
type decodeJob struct {
	mapping string
	every   time.Duration
	capture string // path
	records int
}

func (j *decodeJob) run(ctx context.Context, args []string, s *streams) error {
	if len(args) != 1 {
		return &hinted{usageError{fmt.Errorf("decode: takes one capture, and %d are given", len(args))}, "packlink help decode"}
	}
	if j.every < 0 {
		return usageError{fmt.Errorf("decode: --every %v is negative", j.every)}
	}
	endpoint, err := captureEndpoint(args[0])
	if isLive(endpoint) && endpoint.Scheme != "" {
		return &hinted{usageError{err}, "packlink listen --from " + args[0]}
	}
	if err != nil {
		return usageError{err}
	}
	j.capture = endpoint.Address
	table, err := j.table(j.capture, s)
	if err != nil {
		return err
	}
	r, err := openCapture(j.capture)
	if err != nil {
		return err
	}
	defer r.Close()
	return j.decode(ctx, r, table, s)
}

// captureEndpoint reads an endpoint that must be a capture.
func captureEndpoint(text string) (transport.Endpoint, error) {
	e, err := transport.ParseEndpoint(text)
	if err != nil {
		return e, err
	}
	if e.Scheme != "capture" {
		return e, fmt.Errorf("%s is no capture: decode reads recorded buses, from a file", e)
	}
	return e, e.Allow()
}

// table is the mapping that the user names, or the one that explains the
// capture.
func (j *decodeJob) table(path string, s *streams) (*mapping.Compiled, error) {
	if j.mapping != "" {
		return soundMapping(j.mapping)
	}
	table, err := chooseFor(path)
	if err == nil {
		fmt.Fprintf(s.log, "mapping %s explains the capture\n", table.Name)
	}
	return table, err
}

// decode runs a capture through a mapping.
func (j *decodeJob) decode(ctx context.Context, r *capture.Reader, table *mapping.Compiled, s *streams) error {
	out := bufio.NewWriterSize(s.out, 64<<10)
	var line []byte
	emit := func(status *pack.Status) error {
		j.records++
		line = append(status.AppendJSON(line[:0]), '\n')
		_, err := out.Write(line)
		return err
	}
	channel := func(i int) string { return channelName(r, i) }
	sampler := decode.NewSampler(table, int64(j.every), channel, emit)
	in := patient{Receiver: r}
	err := frames(ctx, &in, sampler)
	if finish := sampler.Finish(); err == nil {
		err = finish
	}
	if flush := out.Flush(); flush != nil {
		return fmt.Errorf("cannot write the records: %w", flush)
	}
	report(s.log, r, sampler, &in)
	fmt.Fprintln(s.log, counted(j.records, "record"))
	if all := total(sampler); all[decode.Short]+all[decode.Long] > 0 {
		fmt.Fprintf(s.log, "try: packlink mapping show %s --in %s, which says of what length they are\n", cmp.Or(j.mapping, table.Name), j.capture)
	}
	if err == nil {
		err = j.useful(table, sampler)
	}
	return err
}

// useful refuses a decoding that understood nothing.
func (j *decodeJob) useful(table *mapping.Compiled, sampler *decode.Sampler) error {
	all := total(sampler)
	if j.mapping == "" || all[decode.Decoded] > 0 {
		return nil
	}
	return &hinted{fmt.Errorf("nothing in the capture is of mapping %s", table.Name), "packlink decode CAPTURE, without --mapping"}
}

// total are the counts of all channels.
func total(sampler *decode.Sampler) (all decode.Counters) {
	for _, d := range sampler.Decoders() {
		counters := d.Counters()
		for i := range all {
			all[i] += counters[i]
		}
	}
	return all
}

// channelName is the name of a capture's interface: "channel N" if it has none,
// and with its number behind it if another one has the same.
func channelName(r *capture.Reader, i int) string {
	all := r.Interfaces()
	if i >= len(all) || all[i].Name == "" {
		return fmt.Sprintf("channel %d", i+1)
	}
	for _, other := range all[:i] {
		if other.Name == all[i].Name {
			return fmt.Sprintf("%s (channel %d)", all[i].Name, i+1)
		}
	}
	return all[i].Name
}

// frames hands all frames of a capture to the sampler.
func frames(ctx context.Context, r transport.Receiver, sampler *decode.Sampler) error {
	var f transport.Frame
	for n := 0; ; n++ {
		if n%4096 == 0 && ctx.Err() != nil {
			return errors.New("stopped before the end of the capture")
		}
		if err := r.Receive(&f); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		if err := sampler.Frame(&f); err != nil {
			return fmt.Errorf("cannot write the records: %w", err)
		}
	}
}

// patient passes over the packets of a capture that cannot be read, and counts
// them.
type patient struct {
	transport.Receiver
	damaged int
	first   error // of the first of them
}

// Receive fills f with the next frame that can be read.
func (p *patient) Receive(f *transport.Frame) error {
	for {
		err := p.Receiver.Receive(f)
		if err == nil || !isResumable(err) {
			return err
		}
		if p.damaged == 0 {
			p.first = err
		}
		p.damaged++
	}
}

// isResumable tells whether a capture can be read on behind an error.
func isResumable(err error) bool {
	var problem *capture.Error
	return errors.As(err, &problem) && problem.Resumable()
}
