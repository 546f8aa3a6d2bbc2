package decode

import (
	"packlink/mapping"
	"packlink/mapping/framing"
)

// serialLine finds the frames of a serial line and pairs each answer with the
// newest question.
type serialLine struct {
	finder  *framing.Finder
	head    serialHead
	open    Asked // the newest question, while it waits
	openAt  int64
	waiting bool
	counts  LineCounters
}

func newSerialLine(bus *mapping.SerialBus) *serialLine {
	return &serialLine{finder: bus.Format.NewFinder()}
}

// feedSerial takes bytes of a serial line.
func (d *Decoder) feedSerial(data []byte, at int64) {
	l := d.serial
	l.counts.Bytes += uint64(len(data))
	for _, b := range data {
		if frame, found := l.finder.Feed(b); found {
			d.serialFrame(frame, at)
		}
	}
}

// serialFrame takes one sound frame.
func (d *Decoder) serialFrame(frame []byte, at int64) {
	l, bus := d.serial, d.table.Bus.Serial
	readHead(bus, frame, &l.head)
	data := bus.Format.Data(frame)
	if q := findQuestion(d.table, &l.head, data); q.Program != nil {
		l.asked(q, at)
		return
	}
	if l.waiting && at-l.openAt > answerWithin {
		l.giveUp()
	}
	p, unasked := pick(d.table, &l.head, data, &l.open)
	switch {
	case unasked:
		l.counts.Unasked++
		return
	case p == nil || l.head.has && !bus.HasAddress(uint64(l.head.address)):
		l.counts.Other++
		d.counters[Unknown]++
		d.unknown.countFrame(bus, &l.head, data, at)
		return
	}
	l.counts.Answers++
	if l.waiting && l.open.pairs(p, &l.head) {
		l.waiting, l.open = false, Asked{}
	}
	d.newest = d.serialPayload(p, data, at)
	d.counters[d.newest]++
}

// serialPayload reads the payload of a message.
func (d *Decoder) serialPayload(p *mapping.Program, data []byte, at int64) Outcome {
	switch {
	case len(data) < p.Least:
		return Short
	case len(data) > p.Most:
		return Long
	case p.Passed:
		return Decoded
	}
	head := &d.serial.head
	if p.AddressIn != nil {
		head.address, head.has = address(p, 0, data)
	}
	return d.applyPayload(p, head.address, head.has, data, at)
}

func (l *serialLine) asked(q Asked, at int64) {
	l.counts.Requests++
	if l.waiting && q == l.open {
		l.counts.Repeated++
	}
	l.giveUp()
	l.open, l.openAt, l.waiting = q, at, true
}

// giveUp ends the wait for an answer.
func (l *serialLine) giveUp() {
	if l.waiting {
		l.counts.Unanswered++
	}
	l.open, l.waiting = Asked{}, false
}

// lost forgets the bytes and the question before a gap in the stream.
func (l *serialLine) lost() {
	l.finder.Lost()
	l.giveUp()
}

// lineCounters are the counts so far.
func (l *serialLine) lineCounters() LineCounters {
	c, found := l.counts, l.finder.Counts()
	c.Noise += found.Noise
	c.BadChecksum, c.BadLength, c.Half = found.BadChecksum, found.BadLength, found.Half
	return c
}

// questionFinder finds questions among the bytes that reach whoever answers them.
type questionFinder struct {
	table  *mapping.Compiled
	finder *framing.Finder
	head   serialHead
}

// newQuestionFinder begins a line of the mapping's bus, which is a serial one.
func newQuestionFinder(c *mapping.Compiled) *questionFinder {
	return &questionFinder{table: c, finder: c.Bus.Serial.Format.NewFinder()}
}

// feed takes bytes and gives each question that ends in them, in order.
func (f *questionFinder) feed(data []byte, found func(Asked)) {
	for _, b := range data {
		frame, ended := f.finder.Feed(b)
		if !ended {
			continue
		}
		readHead(f.table.Bus.Serial, frame, &f.head)
		if q := findQuestion(f.table, &f.head, f.table.Bus.Serial.Format.Data(frame)); q.Program != nil {
			found(q)
		}
	}
}
