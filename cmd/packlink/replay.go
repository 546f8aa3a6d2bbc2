package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/pflag"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/transport"
	"packlink/transport/canbus"
	"packlink/transport/capture"
	"packlink/transport/serialbus"
)

var replayVerb = verb{
	name:    "replay",
	args:    "CAPTURE --to ENDPOINT [--speed 1|max]  |  CAPTURE --expect FILE.jsonl [--mapping NAME]",
	summary: "plays a capture back onto a bus; TRANSMITS",
	text: `
Plays the frames of a capture onto a bus with their timing, faster, or flat out.
This transmits: do it on a bench bus, never on one that a pack and an inverter work
on. The endpoint must be spelled out.

With --expect it transmits nothing: it decodes the capture, compares its records
with those of a file, one JSON object a line, and shows the first differences; exit
code 3 if there are any.`,
	example: `  packlink replay bench.pcapng --to can:can0
  packlink replay bench.pcapng --to serial:/dev/ttyUSB0?baud=9600 --speed max
  packlink replay bench.pcapng --expect bench.jsonl
`,
	prepare: func(flags *pflag.FlagSet) func(context.Context, []string, *streams) error {
		j := replayJob{}
		flags.StringVar(&j.to, "to", "", "`endpoint` of the bus to transmit on")
		flags.StringVar(&j.speed, "speed", "1", "how fast: 1 is the recorded pace, max is flat out")
		flags.StringVar(&j.expect, "expect", "", "`file` of records to compare with; nothing is transmitted")
		flags.StringVar(&j.mapping, "mapping", "", "built-in `name` or file of the mapping, for --expect")
		flags.DurationVar(&j.every, "every", time.Second, "time between two records, for --expect")
		return j.run
	},
}

// replayJob is one run of the replay verb.
type replayJob struct {
	to, speed, expect, mapping string
	every                      time.Duration
}

func (j *replayJob) run(ctx context.Context, args []string, s *streams) error {
	if len(args) != 1 || (j.to == "") == (j.expect == "") {
		return &hinted{usageError{errors.New("replay: takes one capture, and --to or --expect")}, "packlink help replay"}
	}
	if j.expect != "" {
		return j.compare(ctx, args[0], s)
	}
	speed := capture.FlatOut
	if j.speed != "max" {
		var ok bool
		if speed, ok = parseSpeed(j.speed); !ok {
			return usageError{fmt.Errorf("replay: --speed %q must be a number above 0, or max; at most %d", j.speed, fastest)}
		}
	}
	endpoint, err := captureEndpoint(args[0])
	if err != nil {
		return usageError{err}
	}
	r, err := openCapture(endpoint.Address)
	if err != nil {
		return err
	}
	defer r.Close()
	to, err := transport.ParseEndpoint(j.to)
	if err != nil {
		return usageError{err}
	}
	out, medium, err := transmitOn(ctx, to)
	if err != nil {
		return err
	}
	return play(ctx, r, out, medium, speed, fmt.Sprintf("%s onto %s", endpoint.Address, to), s)
}

// transmitOn opens a bus to transmit on.
func transmitOn(ctx context.Context, to transport.Endpoint) (transport.Sender, transport.Medium, error) {
	switch to.Scheme {
	case "can", "slcan":
		bus, err := canbus.Open(to, func(canbus.Event) {})
		return bus, transport.CAN, withHint(err)
	case "serial", "tcp":
		line, err := serialbus.OpenForSending(ctx, to)
		return line, transport.Serial, withHint(err)
	}
	return nil, 0, usageError{fmt.Errorf("replay: %s: a capture is played onto can:, slcan:, serial: or tcp: buses", to)}
}

// play transmits a capture's frames. What cannot be transmitted, such as frames
// of another medium and reports of errors, is left out and counted.
func play(ctx context.Context, r transport.Receiver, out transport.Sender, medium transport.Medium, speed float64, what string, s *streams) error {
	fmt.Fprintf(s.log, "transmits %s; stop with ctrl-c\n", what)
	sent, left := 0, 0
	in := patient{Receiver: r}
	err := capture.Play(ctx, &in, speed, func(f *transport.Frame) error {
		if f.Medium != medium || f.Flags&(transport.BusError|transport.Damaged) != 0 || len(f.Data) == 0 && medium == transport.Serial {
			left++
			return nil
		}
		f.Channel = 0
		sent++
		return out.Send(f)
	})
	if closed := out.Close(); err == nil {
		err = closed
	}
	fmt.Fprintf(s.log, "%s sent, %d left out\n", counted(sent, heardThing(medium)), left+in.damaged)
	switch {
	case errors.Is(err, context.Canceled):
		return nil
	case err == nil && sent == 0:
		return fmt.Errorf("nothing of the capture can be sent %s: it holds no frames of that bus (%s)", what, medium)
	}
	return withHint(err)
}

// decode hands each record of a capture to emit.
func (j *replayJob) decode(ctx context.Context, path string, emit func(string), s *streams) error {
	endpoint, err := captureEndpoint(path)
	if err != nil {
		return usageError{err}
	}
	d := decodeJob{mapping: j.mapping}
	table, err := d.table(endpoint.Address, &streams{io.Discard, s.log})
	if err != nil {
		return err
	}
	r, err := openCapture(endpoint.Address)
	if err != nil {
		return err
	}
	defer r.Close()
	sampler := decode.NewSampler(table, int64(j.every), func(i int) string { return channelName(r, i) }, func(status *pack.Status) error {
		emit(string(status.AppendJSON(nil)))
		return nil
	})
	if err := frames(ctx, &patient{Receiver: r}, sampler); err != nil {
		return err
	}
	return sampler.Finish()
}
