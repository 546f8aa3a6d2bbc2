package decode

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"packlink/mapping"
	"packlink/mapping/framing"
	"packlink/transport"
)

// MostSightings is how many different frames a [Survey] keeps apart; further ones
// are counted only.
const MostSightings = 256

// Survey sorts the frames of a bus by a mapping's bus and messages, one sample of
// each, for whoever is writing the mapping. Nothing is left out: questions, frames
// of no message and those that do not hold are among them. It is not safe for use
// by several goroutines at once.
type Survey struct {
	table    *mapping.Compiled
	channels map[int]*surveyed
	seen     map[sightingKey]*Sighting
	further  uint64
}

// surveyed is one channel of what is looked at: one bus, one line.
type surveyed struct {
	*Survey
	decoder *Decoder // puts transfers together
	line    line     // of registers
	finder  *framing.Finder
	open    Asked // the newest question
}

// sightingKey is what frames are told apart by.
type sightingKey struct {
	kind, message, wrong string
	question             bool
	size                 int
}

// Sighting is frames that are alike.
type Sighting struct {
	Kind      string   // "id 355", "type 0x11", "function 3, registers 0 to 25"
	Message   string   // the message that it is, or that the question is for; "" if none
	Question  bool     // it asks for the message
	Wrong     string   // why it is not read; "" if it is
	Note      string   // what is to be said of the sample
	Frames    uint64   // how many there were; of bytes of no frame, how many bytes
	Size      int      // bytes of the payload; of what is no frame, 0
	Addresses []uint32 // that the frames had, in order, as far as they have one
	Sample    []byte   // the first of them, as an example of the mapping has it; of bytes of no frame the first
	Address   int      // of the sample, where an example says it; -1 if it does not

	order int
}

// NewSurvey begins to look at a bus.
func NewSurvey(c *mapping.Compiled) *Survey {
	return &Survey{table: c, channels: make(map[int]*surveyed), seen: make(map[sightingKey]*Sighting)}
}

// channel is what was heard of a channel so far.
func (s *Survey) channel(i int) *surveyed {
	if s.channels[i] == nil {
		c := &surveyed{Survey: s, decoder: NewDecoder(s.table, "")}
		c.line.found = c.registers
		if s.table.Bus.Serial != nil {
			c.finder = s.table.Bus.Serial.Format.NewFinder()
			c.finder.OnTrouble(c.trouble)
		}
		s.channels[i] = c
	}
	return s.channels[i]
}

// Take takes a frame of the bus, or bytes of the line, of any channel.
func (s *Survey) Take(f *transport.Frame) { s.channel(f.Channel).take(f) }

func (s *surveyed) take(f *transport.Frame) {
	switch {
	case f.Medium != s.decoder.medium:
		s.note(Sighting{Kind: "frame", Wrong: "it is of another medium than the mapping's bus", Sample: f.Data, Address: -1})
	case f.Medium == transport.CAN:
		s.frame(f)
	case f.Flags&transport.Damaged != 0:
		s.note(Sighting{Kind: "bytes", Wrong: "marked as damaged", Sample: f.Data, Address: -1})
	case s.finder != nil:
		s.bytes(f)
	default:
		if f.Flags&transport.Lost != 0 {
			s.line.lost()
		}
		s.line.feed(f.Data, f.Time)
	}
}

// Done ends the survey: what has begun on a line comes to no end any more.
func (s *Survey) Done() {
	for _, i := range slices.Sorted(maps.Keys(s.channels)) {
		c := s.channels[i]
		c.line.lost()
		if c.finder != nil {
			c.finder.Lost()
		}
	}
}

// Sightings are the different frames: those of messages in the order of the
// mapping, then those of none, then those that do not hold.
func (s *Survey) Sightings() []Sighting {
	all := make([]Sighting, 0, len(s.seen))
	for _, sighting := range s.seen {
		all = append(all, *sighting)
	}
	slices.SortFunc(all, func(a, b Sighting) int {
		return cmp.Or(cmp.Compare(a.order, b.order), strings.Compare(a.Wrong, b.Wrong), strings.Compare(a.Kind, b.Kind), cmp.Compare(a.Size, b.Size))
	})
	return all
}

// Further is how many frames there were beyond [MostSightings] different ones.
func (s *Survey) Further() uint64 { return s.further }

// LineCounters count what was heard on the lines of registers, a channel each.
func (s *Survey) LineCounters() (all []LineCounters) {
	for _, i := range slices.Sorted(maps.Keys(s.channels)) {
		all = append(all, s.channels[i].line.counts)
	}
	return all
}

// note counts a frame. The first of each kind is kept as the sample. What was kept
// is nil if there are too many.
func (s *Survey) note(is Sighting) *Sighting {
	key := sightingKey{is.Kind, is.Message, is.Wrong, is.Question, is.Size}
	kept := s.seen[key]
	if kept == nil {
		if len(s.seen) == MostSightings {
			s.further++
			return nil
		}
		kept = new(Sighting)
		*kept = is
		kept.Sample, kept.Addresses, kept.Frames = slices.Clone(is.Sample), nil, 0
		kept.order = s.order(&is)
		s.seen[key] = kept
	}
	kept.Frames++
	for _, address := range is.Addresses {
		if i, found := slices.BinarySearch(kept.Addresses, address); !found && len(kept.Addresses) < MaxPacks {
			kept.Addresses = slices.Insert(kept.Addresses, i, address)
		}
	}
	return kept
}

func (s *Survey) order(is *Sighting) int {
	for i := range s.table.Messages {
		if s.table.Messages[i].Name == is.Message {
			if is.Question {
				return 2*i + 1
			}
			return 2 * i
		}
	}
	return 2 * len(s.table.Messages)
}

// refusal is why a payload of a message is not read, "" if it is.
func refusal(p *mapping.Program, data []byte) string {
	var named lets
	switch {
	case len(data) < p.Least || len(data) > p.Most:
		return "the length of the message is " + lengthText(p)
	case p.Passed:
		return ""
	case !readNamed(p.Needed, data, nil, &named):
		return "a named field lies outside its range"
	case named.lacks(p.Counted, data):
		return "it ends before what its counts promise"
	}
	return ""
}
