package decode

import (
	"packlink/mapping"
	"packlink/transport"
)

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
	if h == nil || h.address != address || h.has != has {
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

// LineCounters are the counts of what was heard on a serial line.
func (d *Decoder) LineCounters() LineCounters {
	if d.serial != nil {
		return d.serial.lineCounters()
	}
	return d.line.counts
}

// Counters are the counts of frames so far.
func (d *Decoder) Counters() Counters { return d.counters }

// UnknownIDs are the ids that the mapping does not know, the most frequent first.
func (d *Decoder) UnknownIDs() []UnknownID { return d.unknown.sorted() }
