package decode

import (
	"encoding/binary"

	"packlink/decode/pack"
	"packlink/mapping"
)

// readGroups reads each pack's repetition of a model's group.
func readGroups(p *mapping.Program, payload []byte, named *lets, at int64) (packs []pack.Status) {
	size := 2 * p.Message.Each.Size
	for start := 2 * p.Read.Count; start+size <= len(payload); start += size {
		var s pack.Status
		s.Address, s.HasAddress = uint32(len(packs)+1), true
		r := reading{status: &s, alarms: make([]said, p.Alarms), lets: named, at: at, by: uint16(p.Index)}
		r.run(&p.Each, payload[start:start+size])
		s.Alarms = merged(r.alarms)
		packs = append(packs, s)
	}
	return packs
}

// cells reads each cell's repetition of a model's group.
func (r *reading) cells(p *mapping.Program, payload []byte) {
	if p.Message.Cells == nil {
		return
	}
	size, before := 2*p.Message.Cells.Size, r.cell
	for start := 2 * p.Read.Count; start+size <= len(payload); start += size {
		part := r.within(start)
		part.ofCell = true
		part.read(p.Cells.All, payload[start:start+size])
		r.cell++
	}
	r.cell = before
}

// within is the reading of a part of the bytes that begins at start.
func (r *reading) within(start int) *reading {
	part := *r
	part.first, part.end = r.first-start, r.end-start
	if r.block != nil {
		part.block = &block{r.block.bytes[start:], r.block.known[start/2:]}
	}
	return &part
}

// packNumber is the number of the pack that the payload of a model speaks of, 0 if
// it speaks of the bank.
func packNumber(p *mapping.Program, payload []byte) int {
	if at := 2 * p.Read.PackAt; at > 0 && at+2 <= len(payload) {
		return int(binary.BigEndian.Uint16(payload[at:]))
	}
	return 0
}

// apply reads the bytes of a model that are new, from first to end, into the
// statuses of the whole (number 0) and of packs (from 1). It is not ok if a named
// field is outside its range: nothing is read then.
func (c *chain) apply(m *model, first, end int, r reading, into func(number int) (*pack.Status, []said)) (ok bool) {
	p, data := m.program, m.block.bytes
	var named lets
	if !readNamed(p.Needed, data, m.block, &named) {
		return false
	}
	r.lets, r.by, r.block, r.first, r.end = &named, uint16(p.Index), m.block, first, end
	number := c.number(m)
	cells, some, ok := c.cellsBefore(m, number)
	if number < 0 || !ok {
		return true
	}
	if r.into(p, into, number) {
		r.cell = cells
		if !some {
			r.read(p.Body.All, data[:min(len(data), 2*p.Read.Count)])
		}
		r.cells(p, data)
	}
	for i := range m.repetitions(p.Message.Each) {
		start := 2 * (p.Message.Each.At + i*p.Message.Each.Size)
		if first >= start+2*p.Message.Each.Size || end <= start {
			continue
		}
		if part := r.within(start); part.into(p, into, i+1) {
			part.read(p.Each.All, data[start:start+2*p.Message.Each.Size])
		}
	}
	return true
}

// into makes the reading go to a pack, or to the whole. It is false if there is no
// such place.
func (r *reading) into(p *mapping.Program, place func(number int) (*pack.Status, []said), number int) bool {
	status, alarms := place(number)
	if status == nil {
		return false
	}
	r.status, r.alarms = status, alarms[p.FirstAlarms:]
	return true
}
