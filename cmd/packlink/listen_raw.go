package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"packlink/transport"
)

// mostRawIDs is the most ids that are kept apart without a mapping.
const mostRawIDs = 4096

// rawFrames are the frames of a bus by their id; on a serial line, the bytes.
type rawFrames struct {
	byID map[uint64]*rawFrame
	more uint64 // frames of further ids
}

// rawFrame is the newest frame of an id.
type rawFrame struct {
	name    string
	key     uint64
	frames  uint64
	before  uint64 // frames when it was shown last
	at      int64
	data    []byte
	shown   []byte // data when it was shown last
	changed bool   // data is another than before
}

func newRawFrames() rawFrames { return rawFrames{byID: make(map[uint64]*rawFrame)} }

func (r *rawFrames) take(f *transport.Frame) {
	key, name := rawName(f)
	id := r.byID[key]
	if id == nil {
		if len(r.byID) == mostRawIDs {
			r.more++
			return
		}
		id = &rawFrame{name: name, key: key}
		r.byID[key] = id
	}
	id.frames++
	id.at = f.Time
	id.data = append(id.data[:0], f.Data...)
}

// rawName is what a frame is kept by, and its id as a person knows it.
func rawName(f *transport.Frame) (key uint64, name string) {
	switch {
	case f.Medium == transport.Serial:
		return 0, "bytes"
	case f.Flags&transport.BusError != 0:
		return 1<<33 | uint64(f.ID), fmt.Sprintf("error %X", f.ID)
	case f.Flags&transport.Extended != 0:
		return 1<<32 | uint64(f.ID), fmt.Sprintf("%08X", f.ID)
	}
	return uint64(f.ID), fmt.Sprintf("%03X", f.ID)
}

// sorted are the ids in their order, with what changed since the last call.
func (r *rawFrames) sorted() []*rawFrame {
	all := make([]*rawFrame, 0, len(r.byID))
	for _, id := range r.byID {
		id.changed = !slices.Equal(id.data, id.shown)
		id.shown = append(id.shown[:0], id.data...)
		all = append(all, id)
	}
	slices.SortFunc(all, func(a, b *rawFrame) int { return cmp.Compare(a.key, b.key) })
	return all
}

// appendLines appends a JSON line for each id that came since the last call.
func (r *rawFrames) appendLines(b []byte, now int64) []byte {
	for _, id := range r.sorted() {
		if id.frames == id.before {
			continue
		}
		b = fmt.Appendf(b, "{\"time\":%q,\"id\":%q,\"frames\":%d,\"changed\":%t,\"data\":\"%X\"}\n",
			time.Unix(0, id.at).UTC().Format(time.RFC3339Nano), id.name, id.frames-id.before, id.changed, id.data)
		id.before = id.frames
	}
	return b
}

// table is the ids as lines of a screen: how many a second, how old, the newest
// data, marked where it changed.
func (r *rawFrames) table(seconds float64, now int64) (lines []string) {
	lines = append(lines, "id         per s   age s  newest data (* changed)")
	for _, id := range r.sorted() {
		mark := " "
		if id.changed {
			mark = "*"
		}
		lines = append(lines, strings.TrimRight(fmt.Sprintf("%-9s %6.1f %7.1f %s % X", id.name,
			float64(id.frames-id.before)/seconds, float64(now-id.at)/1e9, mark, id.data), " "))
		id.before = id.frames
	}
	if r.more > 0 {
		lines = append(lines, fmt.Sprintf("and %d frames of further ids", r.more))
	}
	return lines
}
