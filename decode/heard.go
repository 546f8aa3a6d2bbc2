package decode

import (
	"math"
	"slices"
	"time"

	"packlink/decode/pack"
)

// MaxPacks is the most packs that one source is followed for. It bounds the
// memory that a bus full of invented addresses can cost.
const MaxPacks = 256

// never is the time of a frame that has not come.
const never = math.MinInt64

// heard is one pack that a decoder hears.
type heard struct {
	address uint32
	has     bool // it has an address; 0 is one too
	status  pack.Status
	seen    []int64        // time of each message's newest frame; never before the first
	alarms  []said         // what each field said of alarms
	blocks  map[int]*block // by message, of a pack that has registers
}

// pack is the pack at an address, or the one without, which it begins to follow if it is new; nil
// if there are too many.
func (d *Decoder) pack(address uint32, has bool, at int64) *heard {
	for _, h := range d.packs {
		if h.address == address && h.has == has {
			d.last = h
			return h
		}
	}
	if len(d.packs) == MaxPacks && !d.dropSilent(at) {
		return nil
	}
	h := &heard{
		address: address,
		has:     has,
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
	d.packs, d.last = nil, nil
	return d.pack(h.address, h.has, at)
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

// forget drops every pack, as if nothing had been heard.
func (d *Decoder) forget() {
	d.packs, d.last = nil, nil
	d.transfers, d.chains = transfers{}, nil
	d.lost()
}

func (d *Decoder) index(h *heard) int { return slices.Index(d.packs, h) }

// Packs is how many packs were heard. They are numbered from 0 in the order of
// their first frames; those whose registers are in models, in that of their units
// and numbers.
func (d *Decoder) Packs() int { return len(d.packs) }

// Status writes what is known of pack i at an instant to s: overdue values
// marked, and what follows from the others added. It is false if the pack is not
// heard any more, as nothing that speaks of the present is fresh: s tells then
// who the pack is and what has become overdue, and no measurement.
func (d *Decoder) Status(i int, now int64, s *pack.Status) bool {
	h := d.packs[i]
	h.status.CopyTo(s)
	s.Now = now
	s.Fresh = d.isFresh(h, now)
	s.Expire(func(v pack.Value) bool {
		return !s.Fresh && d.table.Programs[v.By].OfPresent || d.overdue(int(v.By), v.At, now)
	})
	s.Alarms, s.AlarmsStale = pack.AlarmSet{}, false
	for i := range h.alarms {
		if a := &h.alarms[i]; a.set.Known != 0 {
			s.Alarms = s.Alarms.Merge(a.set)
			s.AlarmsStale = s.AlarmsStale || !s.Fresh || d.overdue(int(a.by), a.at, now)
		}
	}
	if !s.Fresh {
		s.Silence()
	}
	s.Derive()
	return s.Fresh
}

// silence is how long a pack may say nothing of the present at all, if its quickest
// message is allowed less (chosen).
const silence = 5 * time.Second

// isFresh tells whether a pack is heard: whether a message that speaks of the present is
// not overdue, and the newest of them is no older than the quickest of them may become.
// So limits that come once a minute do not outlive a pack that measured every second.
func (d *Decoder) isFresh(h *heard, now int64) bool {
	fresh, newest, quickest := false, int64(never), int64(math.MaxInt64)
	for m, at := range h.seen {
		if p := &d.table.Programs[m]; at != never && p.OfPresent {
			fresh = fresh || !d.overdue(m, at, now)
			newest, quickest = max(newest, at), min(quickest, int64(p.Timeout))
		}
	}
	return fresh && now-newest <= max(quickest, int64(silence))
}

// overdue tells whether what a message said at an instant is overdue now. What
// was said well after now is overdue too: the clock was set back since, and the
// age is not known.
func (d *Decoder) overdue(message int, at, now int64) bool {
	age := now - at
	return age > int64(d.table.Programs[message].Timeout) || age < -Disorder
}
