package decode

import (
	"math"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// Disorder is how far, in nanoseconds, a frame may lie before the newest one, as
// a recording of several interfaces can be out of order (chosen: one second).
// Further back, the clock was set back: everything heard before is forgotten
// then, as its age is not known any more.
const Disorder = 1_000_000_000

// Sampler follows a recorded bus and gives each pack's status at regular
// instants: at every whole multiple of its period since the Unix epoch, from
// the frames up to that instant, and once at the end.
type Sampler struct {
	table    *mapping.Compiled
	every    int64 // nanoseconds; 0 for a status after each message
	source   func(channel int) string
	emit     func(*pack.Status) error
	decoders []*Decoder // by channel
	next     int64      // the next instant to sample
	newest   int64      // time of the newest frame
	started  bool
	rewinds  int
	failed   error // of emit, when it was called for a message
	status   pack.Status
}

// NewSampler begins to follow a recorded bus. A period of 0 gives a pack's
// status after each of its messages. source names a channel of the recording.
// The status that emit gets holds until it returns; its error ends the work.
func NewSampler(table *mapping.Compiled, every int64, source func(channel int) string, emit func(*pack.Status) error) *Sampler {
	return &Sampler{table: table, every: every, source: source, emit: emit}
}

// Frame takes the next frame. Its error is emit's.
func (s *Sampler) Frame(f *transport.Frame) error {
	switch {
	case s.started && f.Time < s.newest-Disorder:
		s.rewind(f.Time)
	case !s.started || f.Time > s.next:
		if err := s.advance(f.Time); err != nil {
			return err
		}
	}
	s.newest = max(s.newest, f.Time)
	s.decoder(f.Channel).Decode(f)
	return s.failed
}

// advance gives the samples that are due before a frame of the given time. An
// instant at which no pack is heard ends them: the gap is passed over.
func (s *Sampler) advance(to int64) error {
	for s.started && s.every > 0 && s.next < to {
		heard, err := s.sample(s.next)
		if err != nil {
			return err
		}
		if !heard {
			break
		}
		s.next += s.every
	}
	s.started = true
	s.next = s.firstFrom(to)
	return nil
}

// firstFrom is the first instant to sample that is not before t.
func (s *Sampler) firstFrom(t int64) int64 {
	if s.every == 0 {
		return t
	}
	past := t % s.every
	switch {
	case past <= 0:
		return t - past
	case t > math.MaxInt64-s.every:
		return math.MaxInt64
	}
	return t - past + s.every
}

func (s *Sampler) rewind(to int64) {
	s.rewinds++
	for _, d := range s.decoders {
		d.forget()
	}
	s.next, s.newest = s.firstFrom(to), to
}

func (s *Sampler) decoder(channel int) *Decoder {
	for len(s.decoders) <= channel {
		d := NewDecoder(s.table, s.source(len(s.decoders)))
		if s.every == 0 {
			d.decoded = func(h *heard, _ int, at int64) { s.give(d, h, at) }
		}
		s.decoders = append(s.decoders, d)
	}
	return s.decoders[channel]
}

// sample gives every pack that is heard at an instant.
func (s *Sampler) sample(now int64) (heard bool, err error) {
	for _, d := range s.decoders {
		for i := range d.packs {
			if !d.Status(i, now, &s.status) {
				continue
			}
			heard = true
			if err := s.emit(&s.status); err != nil {
				return true, err
			}
		}
	}
	return heard, nil
}

// give gives the status of the pack that a message has just come from.
func (s *Sampler) give(d *Decoder, h *heard, now int64) {
	if s.failed == nil && d.Status(d.index(h), max(now, s.newest), &s.status) {
		s.failed = s.emit(&s.status)
	}
}

// Finish gives each pack's status at the end: at the time of the newest frame.
// After each message there is nothing left to give.
func (s *Sampler) Finish() error {
	if s.every == 0 || !s.started {
		return nil
	}
	_, err := s.sample(s.newest)
	return err
}

// Rewinds is how often the recording's clock was set back.
func (s *Sampler) Rewinds() int { return s.rewinds }

// Decoders are the decoders by channel, for their counters.
func (s *Sampler) Decoders() []*Decoder { return s.decoders }
