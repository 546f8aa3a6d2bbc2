package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/spf13/pflag"

	"packlink/decode"
	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
	"packlink/transport/canbus"
)

var listenVerb = verb{
	name:    "listen",
	args:    "--from ENDPOINT [--mapping NAME|FILE]",
	summary: "shows what a bus says now; transmits nothing, ever",
	text: `
Listens to a bus and shows each pack's status: as a table in a terminal, as JSON
lines in a pipe. Nothing is transmitted. Without --mapping it shows the raw frames,
how often each comes and what changed.`,
	example: `  packlink listen --from can:can0 --mapping storage-can-35x
  packlink listen --from serial:/dev/ttyUSB0 --mapping marrowfen-mf16
  packlink listen --from can:can0
`,
	prepare: func(flags *pflag.FlagSet) func(context.Context, []string, *streams) error {
		j := listenJob{}
		flags.StringVar(&j.from, "from", "", "`endpoint` of the bus")
		flags.StringVar(&j.mapping, "mapping", "", "built-in `name` or file of the mapping")
		flags.DurationVar(&j.every, "every", time.Second, "time between two records of a pack, or two tables")
		return j.run
	},
}

// listenJob is one run of the listen verb.
type listenJob struct {
	from, mapping string
	every         time.Duration
}

func (j *listenJob) run(ctx context.Context, args []string, s *streams) error {
	switch {
	case len(args) > 0:
		return usageError{fmt.Errorf("listen: takes no arguments, and %q is given; the bus goes behind --from", args[0])}
	case j.from == "":
		return &hinted{usageError{errors.New("listen: --from must be given")}, "packlink adapters"}
	case j.every <= 0:
		return usageError{fmt.Errorf("listen: --every %v must be above 0", j.every)}
	}
	from, err := transport.ParseEndpoint(j.from)
	if err != nil {
		return usageError{err}
	}
	var table *mapping.Compiled
	if j.mapping != "" {
		if table, err = soundMapping(j.mapping); err != nil {
			return err
		}
		if !slices.Contains(busOf(table), from.Scheme) {
			return usageError{fmt.Errorf("listen: %s: a bus of mapping %s begins with %s", from, table.Name, strings.Join(busOf(table), ":, ")+":")}
		}
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	h := newHearing(j.from, from.Address, table)
	r, err := listenTo(ctx, withLineOf(from, table), h.tell)
	if err != nil {
		return err
	}
	defer r.Close()
	if l, is := r.(canbus.Listener); is {
		h.health = l.Health
		h.load = canbus.NewLoadMeter(bitrateOf(l, table))
	}
	return j.show(ctx, cancel, r, h, s)
}

// bitrateOf is the bus' bit rate: the interface's own, else the mapping's, 0 if
// neither is known.
func bitrateOf(l canbus.Listener, table *mapping.Compiled) int {
	if rate := l.Health().BitRate; rate > 0 || table == nil || table.Bus.CAN == nil {
		return rate
	}
	return table.Bus.CAN.Bitrate
}

// show hears and shows until ctx ends or the output takes no more.
func (j *listenJob) show(ctx context.Context, cancel context.CancelFunc, r transport.Receiver, h *hearing, s *streams) error {
	heard := make(chan error, 1)
	go func() {
		heard <- receive(ctx, r, h.take)
		cancel()
	}()
	write := h.writeLines
	if isTerminal(s.out) {
		write = h.writeScreen
	}
	tick := time.NewTicker(j.every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return <-heard
		case now := <-tick.C:
			h.doubt(now.UnixNano())
			if err := write(s, now.UnixNano()); err != nil {
				cancel()
				<-heard
				return fmt.Errorf("cannot show what is heard: %w", err)
			}
		}
	}
}

// hearing is what was heard on a bus so far.
type hearing struct {
	endpoint string
	mu       sync.Mutex
	table    *mapping.Compiled // nil without a mapping
	decoder  *decode.Decoder   // nil without a mapping
	raw      rawFrames
	load     *canbus.LoadMeter // nil but on a CAN bus
	health   func() canbus.Health
	frames   uint64
	before   uint64 // frames when it was shown last
	shown    int64  // when it was shown last
	begun    int64  // time of the first frame
	doubted  bool   // it was told that nothing is of the mapping
	news     []string
	line     []byte
}

// newHearing hears a bus through a mapping, or without one.
func newHearing(endpoint, source string, table *mapping.Compiled) *hearing {
	h := &hearing{endpoint: endpoint, table: table, raw: newRawFrames()}
	if table != nil {
		h.decoder = decode.NewDecoder(table, source)
	}
	return h
}

// take hears one frame.
func (h *hearing) take(f *transport.Frame) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.frames++
	if h.frames == 1 {
		h.begun = f.Time
	}
	if h.load != nil {
		h.load.Add(f)
	}
	if h.decoder == nil {
		h.raw.take(f)
	} else {
		h.decoder.Decode(f)
	}
	return nil
}

// newsKept is how many transitions of the bus are kept for the screen.
const newsKept = 3

// tell notes a transition of the bus.
func (h *hearing) tell(text string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.note(text)
}

func (h *hearing) note(text string) {
	h.news = append(h.news, time.Now().UTC().Format("15:04:05Z ")+text)
	if len(h.news) > newsKept {
		h.news = h.news[len(h.news)-newsKept:]
	}
}

// doubtAfter is how long a bus is heard without a word of the mapping before it is told.
const doubtAfter = 3 * time.Second

// doubt tells once that a bus is heard, and that nothing is of the mapping.
func (h *hearing) doubt(now int64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.decoder == nil || h.doubted || h.frames == 0 || now-h.begun < int64(doubtAfter) || understood(h.decoder) {
		return
	}
	h.doubted = true
	if h.table.Bus.CAN != nil {
		h.note(fmt.Sprintf("frames arrive, and none is of %s: wrong mapping", h.table.Name))
		return
	}
	h.note(fmt.Sprintf("bytes arrive, and no frame is of %s: wrong mapping, speed or polarity", h.table.Name))
}

// writeLines writes records as JSON lines, and transitions to the log.
func (h *hearing) writeLines(s *streams, now int64) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, text := range h.news {
		fmt.Fprintln(s.log, text)
	}
	h.news = nil
	h.line = h.line[:0]
	if h.decoder == nil {
		h.line = h.raw.appendLines(h.line, now)
	} else {
		var status pack.Status
		for i := range h.decoder.Packs() {
			h.decoder.Status(i, now, &status) // of a silent pack it says what is overdue, and forbids
			h.line = append(status.AppendJSON(h.line), '\n')
		}
	}
	_, err := s.out.Write(h.line)
	return err
}
