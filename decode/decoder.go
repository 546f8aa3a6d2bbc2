package decode

import (
	"math"
	"slices"

	"packlink/decode/pack"
	"packlink/mapping"
	"packlink/transport"
)

// MaxPacks is the most packs that one source is followed for. It bounds the
// memory that a bus full of invented addresses can cost.
const MaxPacks = 256

// never is the time of a frame that has not come.
const never = math.MinInt64

// Decoder follows the frames of one source and keeps the status of each pack
// it hears. It is not safe for use by several goroutines at once.
type Decoder struct {
	table     *mapping.Compiled
	medium    transport.Medium // of the mapping's bus
	source    string
	packs     []*heard
	last      *heard // of the newest frame
	counters  Counters
	unknown   unknownIDs
	named     lets            // of the frame being read
	chains    map[byte]*chain // by unit, of registers that are models
	transfers transfers
	line      line        // of a source that is a serial line of registers
	serial    *serialLine // of a source that is another serial line; nil if it is none
	newest    Outcome     // of the newest answer on that line
	scratch   []byte
	known     []bool
	before    block                                 // of a model: what its newest registers took the place of
	decoded   func(h *heard, message int, at int64) // called after each message that was read; nil if nobody asks
}

// heard is one pack that a decoder hears.
type heard struct {
	address uint32
	status  pack.Status
	seen    []int64        // time of each message's newest frame; never before the first
	alarms  []said         // what each field said of alarms
	blocks  map[int]*block // by message, of a pack that has registers
	summed  summed         // of a pack that a witness looks at
}

// NewDecoder begins to follow a source, whose name goes into every status.
func NewDecoder(table *mapping.Compiled, source string) *Decoder {
	d := &Decoder{table: table, medium: transport.CAN, source: source, unknown: newUnknownIDs()}
	if table.Bus.CAN == nil {
		d.medium = transport.Serial
	}
	if table.Bus.Serial != nil {
		d.serial = newSerialLine(table.Bus.Serial)
	}
	d.line.found = d.registers
	return d
}

// Decode takes one frame of a bus, or one run of bytes of a serial line. It
// allocates nothing once it knows the pack. Frames that the mapping's bus does
// not have are passed over. It returns what became of the frame; of bytes, what
// became of the last answer that ended in them, Unknown if none did.
func (d *Decoder) Decode(f *transport.Frame) Outcome {
	if f.Medium != d.medium {
		d.counters[Foreign]++
		return Foreign
	}
	if f.Medium == transport.Serial {
		return d.decodeBytes(f)
	}
	outcome := d.decode(f)
	d.counters[outcome]++
	return outcome
}

// decodeBytes leaves damaged bytes alone: a poller marks so what is no answer to
// its question.
func (d *Decoder) decodeBytes(f *transport.Frame) Outcome {
	if f.Flags&transport.Damaged != 0 {
		d.lose(len(f.Data))
		return Damaged
	}
	if f.Flags&transport.Lost != 0 {
		d.lost()
	}
	d.newest = Unknown
	if d.serial != nil {
		d.feedSerial(f.Data, f.Time)
	} else {
		d.line.feed(f.Data, f.Time)
	}
	return d.newest
}

// lose counts bytes that are not to be looked at.
func (d *Decoder) lose(n int) {
	c := &d.line.counts
	if d.serial != nil {
		c = &d.serial.counts
	}
	c.Bytes += uint64(n)
	c.Noise += uint64(n)
}

// lost notes a gap in the bytes of a serial line.
func (d *Decoder) lost() {
	if d.serial != nil {
		d.serial.lost()
	} else {
		d.line.lost()
	}
}

func (d *Decoder) decode(f *transport.Frame) Outcome {
	p, f, outcome := d.message(f)
	switch {
	case p == nil:
		return outcome
	case len(f.Data) < p.Least:
		return Short
	case len(f.Data) > p.Most:
		return Long
	case p.Passed:
		return Decoded
	}
	address, has := address(p, f.ID, f.Data)
	return d.applyPayload(p, address, has, f.Data, f.Time)
}

// message is the message that a frame of a CAN bus completes, with its whole
// payload. The program is nil if there is none: the outcome says why.
func (d *Decoder) message(f *transport.Frame) (p *mapping.Program, whole *transport.Frame, outcome Outcome) {
	if f.Flags&(transport.Remote|transport.BusError|transport.Damaged) != 0 {
		return nil, nil, Damaged
	}
	p = d.table.FindCAN(f.ID, f.Flags&transport.Extended != 0)
	if p == nil || p.Transfer != mapping.OneFrame {
		if p, f, outcome = d.whole(p, f); p == nil {
			return nil, nil, outcome
		}
	}
	if len(p.Tests) > 0 {
		if p = choose(p, f.ID, f.Data); p == nil {
			d.unknown.count(f)
			return nil, nil, Unknown
		}
	}
	return p, f, Decoded
}

// applyPayload writes a payload's fields into its pack's status. Whatever can
// fail comes before anything is written.
func (d *Decoder) applyPayload(p *mapping.Program, address uint32, has bool, data []byte, at int64) Outcome {
	d.named.known = 0
	if len(p.Needed) > 0 && !readNamed(p.Needed, data, nil, &d.named) {
		return OutOfRange
	}
	if d.named.lacks(p.Counted, data) {
		return Short
	}
	h := d.last
	if h == nil || h.address != address {
		if h = d.pack(address, has, at); h == nil {
			return Crowded
		}
	}
	if at < h.seen[p.Index] {
		if h = d.older(h, p.Index, at); h == nil {
			return Late
		}
	}
	readNumbers(&h.status, p.Body.Numbers, data, at, uint16(p.Index))
	if len(p.Body.Rest) > 0 {
		r := reading{status: &h.status, alarms: h.alarms[p.FirstAlarms:], lets: &d.named, at: at, by: uint16(p.Index)}
		r.read(p.Body.Rest, data)
	}
	h.seen[p.Index] = at
	h.status.Time = max(h.status.Time, at)
	if d.decoded != nil {
		d.decoded(h, p.Index, at)
	}
	return Decoded
}

// pack is the pack at an address, which it begins to follow if it is new; nil
// if there are too many.
func (d *Decoder) pack(address uint32, has bool, at int64) *heard {
	for _, h := range d.packs {
		if h.address == address {
			d.last = h
			return h
		}
	}
	if len(d.packs) == MaxPacks && !d.dropSilent(at) {
		return nil
	}
	h := &heard{
		address: address,
		seen:    slices.Repeat([]int64{never}, len(d.table.Programs)),
		alarms:  make([]said, d.table.Alarms),
	}
	h.status.Source, h.status.Mapping = d.source, d.table.Name
	h.status.Address, h.status.HasAddress = address, has
	d.packs = append(d.packs, h)
	d.last = h
	return h
}

// older takes a frame that is older than what its message said before. Within
// [Disorder] it is late, and nil is returned. Beyond it the clock was set back:
// everything heard before is forgotten, and the pack is followed anew.
func (d *Decoder) older(h *heard, message int, at int64) *heard {
	if h.seen[message]-at <= Disorder {
		return nil
	}
	address, has := h.address, h.status.HasAddress
	d.packs, d.last = nil, nil
	return d.pack(address, has, at)
}

// dropSilent stops following the pack that is silent for longest, if there is
// one that is not heard any more.
func (d *Decoder) dropSilent(now int64) bool {
	oldest := -1
	for i, h := range d.packs {
		if !d.isFresh(h, now) && (oldest < 0 || h.status.Time < d.packs[oldest].status.Time) {
			oldest = i
		}
	}
	if oldest < 0 {
		return false
	}
	d.packs = slices.Delete(d.packs, oldest, oldest+1)
	return true
}

// LineCounters are the counts of what was heard on a serial line.
func (d *Decoder) LineCounters() LineCounters {
	if d.serial != nil {
		return d.serial.lineCounters()
	}
	return d.line.counts
}

func (d *Decoder) index(h *heard) int { return slices.Index(d.packs, h) }

// forget drops every pack, as if nothing had been heard.
func (d *Decoder) forget() {
	d.packs, d.last = nil, nil
	d.transfers, d.chains = transfers{}, nil
	d.lost()
}

// Messages is how many different messages were heard, of any pack.
func (d *Decoder) Messages() (n int) {
	for m := range d.table.Programs {
		if slices.ContainsFunc(d.packs, func(h *heard) bool { return h.seen[m] != never }) {
			n++
		}
	}
	return n
}

// Packs is how many packs were heard. They are numbered from 0 in the order of
// their first frames.
func (d *Decoder) Packs() int { return len(d.packs) }

// Counters are the counts of frames so far.
func (d *Decoder) Counters() Counters { return d.counters }

// UnknownIDs are the ids that the mapping does not know, the most frequent first.
func (d *Decoder) UnknownIDs() []UnknownID { return d.unknown.sorted() }

// Status writes what is known of pack i at an instant to s: overdue values
// marked, and what follows from the others added. It is false if the pack is not
// heard any more, as nothing that speaks of the present is fresh: s tells then
// who the pack is and what has become overdue, and no measurement.
func (d *Decoder) Status(i int, now int64, s *pack.Status) bool {
	h := d.packs[i]
	h.status.CopyTo(s)
	s.Now = now
	s.Expire(func(v pack.Value) bool { return d.overdue(int(v.By), v.At, now) })
	s.Alarms, s.AlarmsStale = pack.AlarmSet{}, false
	s.Fresh = d.isFresh(h, now)
	for i := range h.alarms {
		if a := &h.alarms[i]; a.set.Known != 0 {
			s.Alarms = s.Alarms.Merge(a.set)
			s.AlarmsStale = s.AlarmsStale || d.overdue(int(a.by), a.at, now)
		}
	}
	if !s.Fresh {
		s.Silence()
	}
	s.Derive()
	return s.Fresh
}

// isFresh tells whether a pack is heard: whether a message that speaks of the present is
// not overdue.
func (d *Decoder) isFresh(h *heard, now int64) bool {
	for m, at := range h.seen {
		if at != never && d.table.Programs[m].OfPresent && !d.overdue(m, at, now) {
			return true
		}
	}
	return false
}

// overdue tells whether what a message said at an instant is overdue now. What
// was said well after now is overdue too: the clock was set back since, and the
// age is not known.
func (d *Decoder) overdue(message int, at, now int64) bool {
	age := now - at
	return age > int64(d.table.Programs[message].Timeout) || age < -Disorder
}
