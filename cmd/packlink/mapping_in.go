package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strconv"

	"packlink/decode"
	"packlink/mapping"
	"packlink/mapping/framing"
	"packlink/transport"
)

// showFrames lists the different frames of a capture, each with a sample that can
// become an example.
func (j *mappingJob) showFrames(ctx context.Context, reference string, s *streams) error {
	m, err := draftMapping(reference)
	if err != nil {
		return err
	}
	table, err := mapping.Compile(m)
	if err != nil {
		return err
	}
	if table.Bus.Registers != nil && table.Bus.Registers.ModelsAt >= 0 {
		return fmt.Errorf("mapping show: the models of %s have no fixed registers, so its answers cannot be told apart one by one", table.Name)
	}
	endpoint, err := captureEndpoint(j.in)
	if err != nil {
		return usageError{fmt.Errorf("mapping show: --in: %w", err)}
	}
	r, err := openCapture(endpoint.Address)
	if err != nil {
		return err
	}
	defer r.Close()
	survey := decode.NewSurvey(table)
	in := patient{Receiver: r}
	if err := receive(ctx, &in, func(f *transport.Frame) error { survey.Take(f); return nil }); err != nil {
		return err
	}
	survey.Done()
	for _, counters := range survey.LineCounters() {
		reportLine(s.log, counters)
	}
	reportCapture(s.log, r, &in)
	if j.json {
		return writeJSON(s.out, survey)
	}
	return writeSightings(s.out, table, survey)
}

func writeSightings(w io.Writer, table *mapping.Compiled, survey *decode.Survey) error {
	var text bytes.Buffer
	for _, is := range survey.Sightings() {
		fmt.Fprintln(&text, headline(&is))
		if is.Note != "" {
			fmt.Fprintln(&text, "    #", is.Note)
		}
		fmt.Fprintln(&text, "   ", sampleLine(table, &is))
		if is.Address >= 0 {
			fmt.Fprintln(&text, "      address:", is.Address)
		}
	}
	if n := survey.Further(); n > 0 {
		fmt.Fprintf(&text, "and %d frames of further kinds\n", n)
	}
	_, err := w.Write(text.Bytes())
	return err
}

// headline is what frames that are alike are, and how many there were.
func headline(is *decode.Sighting) string {
	text := "? no message: " + is.Kind
	switch {
	case is.Message == "" && is.Wrong != "":
		text = "! " + is.Kind
	case is.Wrong != "":
		text = fmt.Sprintf("! %s: %s", is.Message, is.Kind)
	case is.Question:
		text = fmt.Sprintf("  question for %s: %s", is.Message, is.Kind)
	case is.Message != "":
		text = fmt.Sprintf("  %s: %s", is.Message, is.Kind)
	}
	text += ", " + counted(int(is.Frames), "time")
	if is.Size > 0 || is.Wrong == "" {
		text += ", " + counted(is.Size, "byte") + " of payload"
	}
	for i, address := range is.Addresses {
		switch {
		case i == 0:
			text += fmt.Sprintf(", from %d", address)
		case i == addressesShown:
			return text + ", ..."
		default:
			text += fmt.Sprintf(", %d", address)
		}
	}
	if is.Wrong != "" {
		text += ": " + is.Wrong
	}
	return text
}

// addressesShown is how many addresses a line lists.
const addressesShown = 16

// sampleLine is the sample as a line of an example: of a question what the answer's
// example says of it.
func sampleLine(table *mapping.Compiled, is *decode.Sighting) string {
	hex, text, indent := "hex", "text", "- "
	if is.Question {
		hex, text, indent = "asks", "asks", "  "
	}
	serial := table.Bus.Serial
	if serial != nil && serial.Format.Coding == framing.ASCIIHex && len(is.Sample) > 0 {
		return indent + text + ": " + strconv.QuoteToASCII(string(is.Sample))
	}
	return fmt.Sprintf("%s%s: %q", indent, hex, fmt.Sprintf("% X", is.Sample))
}
