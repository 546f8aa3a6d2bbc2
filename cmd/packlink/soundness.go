package main

import (
	"errors"
	"slices"

	"packlink/decode"
	"packlink/mapping"
	"packlink/mapping/document"
	"packlink/mapping/library"
	"packlink/transport"
)

// soundMapping loads a mapping and runs its examples both ways: what does not
// hold is not used. The error is document.Problems, or says that there is no
// such mapping.
func soundMapping(reference string) (*mapping.Compiled, error) {
	table, err := library.Compile(reference)
	if isDraft(err) {
		return nil, &hinted{err, "packlink mapping show " + reference + " --in CAPTURE, which takes a mapping without examples, and lists frames for them"}
	}
	if err != nil {
		return nil, noMapping(err)
	}
	name, data, err := library.File(reference)
	if err != nil {
		return nil, err
	}
	return table, decode.Verify(table, name, data).Err()
}

// understood tells whether anything that a decoder was given is of its mapping.
func understood(d *decode.Decoder) bool {
	counters := d.Counters()
	return d.Packs() > 0 || counters[decode.Decoded] > 0
}

// mediumOf is the kind of bus that a mapping is of.
func mediumOf(table *mapping.Compiled) transport.Medium {
	if table.Bus.CAN != nil {
		return transport.CAN
	}
	return transport.Serial
}

// heardThing is what a bus is heard as: a frame, or on a serial line a piece of
// bytes, which can hold several frames or a part of one.
func heardThing(medium transport.Medium) string {
	if medium == transport.CAN {
		return "frame"
	}
	return "piece"
}

// isDraft tells whether nothing is wrong with a mapping but that examples are
// missing.
func isDraft(err error) bool {
	var problems document.Problems
	return errors.As(err, &problems) && !slices.ContainsFunc(problems, func(p document.Problem) bool { return p.Rule != mapping.RuleDraft })
}
