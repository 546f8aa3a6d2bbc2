package main

import (
	"fmt"
	"io"

	"packlink/decode"
	"packlink/transport/capture"
)

// unknownShown is the most unknown ids that a report lists.
const unknownShown = 12

// report says on the log what became of the frames, so that nothing is dropped
// silently.
func report(w io.Writer, r *capture.Reader, sampler *decode.Sampler, in *patient) {
	for i, d := range sampler.Decoders() {
		counters := d.Counters()
		fmt.Fprintf(w, "%s: %d frames, %d decoded, %d unknown, %d rejected\n", channelName(r, i),
			counters.Frames(), counters[decode.Decoded], counters[decode.Unknown], counters.Rejected())
		if parts := counters[decode.Part]; parts > 0 {
			fmt.Fprintf(w, "  parts of payloads in several frames, without the last: %d\n", parts)
		}
		reportRejected(w, &counters)
		reportLine(w, d.LineCounters())
		reportUnknown(w, d.UnknownIDs())
	}
	if sampler.Rewinds() > 0 {
		fmt.Fprintf(w, "the recording's clock was set back %d times; what was heard before was forgotten each time\n", sampler.Rewinds())
	}
	reportCapture(w, r, in)
}

// reportCapture says what of a recording could not be read.
func reportCapture(w io.Writer, r *capture.Reader, in *patient) {
	for _, in := range r.Interfaces() {
		if in.Skipped > 0 && in.LinkType != capture.LinkCAN && in.LinkType != capture.LinkSerial {
			fmt.Fprintf(w, "%s: %d packets of link type %d, which is not read\n", in.Name, in.Skipped, in.LinkType)
		}
	}
	if in.damaged > 0 {
		fmt.Fprintf(w, "not readable and passed over: %d; the first: %v\n", in.damaged, in.first)
	}
	if offset, left := r.Torn(); left > 0 {
		fmt.Fprintf(w, "the capture is cut: what begins at byte %d has only %d bytes; everything before it was read\n", offset, left)
	}
}

func reportRejected(w io.Writer, counters *decode.Counters) {
	for _, outcome := range decode.Outcomes() {
		switch {
		case !outcome.Rejects() || counters[outcome] == 0:
		case outcome == decode.Foreign:
			fmt.Fprintf(w, "  not read, as foreign: %d, of another kind of bus than the mapping's\n", counters[outcome])
		default:
			fmt.Fprintf(w, "  not read, as %s: %d\n", outcome, counters[outcome])
		}
	}
}

// reportLine says what was heard on a serial line.
func reportLine(w io.Writer, c decode.LineCounters) {
	if c.Bytes == 0 {
		return
	}
	fmt.Fprintf(w, "  line: %d questions, %d answers", c.Requests, c.Answers)
	for _, part := range []struct {
		count uint64
		text  string
	}{
		{c.Repeated, "repeated questions"}, {c.Unanswered, "without an answer"}, {c.Refusals, "refused"},
		{c.Unasked, "answers that nobody asked for"}, {c.BadChecksum, "with a wrong checksum"}, {c.BadLength, "of a wrong length"}, {c.Half, "cut short"},
		{c.Other, "of other kinds"}, {c.Noise, "bytes of noise"},
	} {
		if part.count > 0 {
			fmt.Fprintf(w, ", %d %s", part.count, part.text)
		}
	}
	fmt.Fprintln(w)
}

func reportUnknown(w io.Writer, ids []decode.UnknownID) {
	for i, id := range ids {
		if i == unknownShown {
			fmt.Fprintf(w, "  and %d more unknown ids\n", len(ids)-i)
			return
		}
		fmt.Fprintf(w, "  unknown %s: %d frames%s, last % X\n", &id, id.Frames, shownRate(&id), id.Data[:min(id.Size, len(id.Data))])
	}
}

func shownRate(id *decode.UnknownID) string {
	rate, ok := id.Rate()
	if !ok {
		return ""
	}
	return ", " + rate.String() + "/s"
}
