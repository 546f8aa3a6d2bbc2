package decode_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"packlink/decode"
	"packlink/mapping"
	"packlink/mapping/library"
	"packlink/transport"
)

// surveyed looks at frames, and gives a line for each sighting.
func surveyed(table *mapping.Compiled, frames ...transport.Frame) (s *decode.Survey, lines []string) {
	s = decode.NewSurvey(table)
	for i := range frames {
		s.Take(&frames[i])
	}
	s.Done()
	for _, is := range s.Sightings() {
		question := ""
		if is.Question {
			question = "question for "
		}
		lines = append(lines, fmt.Sprintf("%s%s|%s|%d of %d from %v|%X|%s|%s", question, is.Message, is.Kind, is.Frames, is.Size, is.Addresses, is.Sample, is.Wrong, is.Note))
	}
	return s, lines
}

// TestSurveyOfExamples holds that the frames of every built-in mapping's examples
// are sighted as its messages, and that each sample is one of the examples.
func TestSurveyOfExamples(t *testing.T) {
	for _, name := range library.Names() {
		table := compiled(t, name)
		if table.Bus.Registers != nil && table.Bus.Registers.ModelsAt >= 0 {
			continue
		}
		s, _ := surveyed(table, examples(table)...)
		seen := make(map[string]bool)
		for _, is := range s.Sightings() {
			if is.Wrong != "" || is.Message == "" {
				t.Errorf("%s: %+v", name, is)
			}
			seen[is.Message] = seen[is.Message] || !is.Question
			if i := slices.IndexFunc(table.Messages, func(m mapping.Message) bool { return m.Name == is.Message }); i >= 0 && !isExample(&table.Messages[i], &is) {
				t.Errorf("%s: the sample % X of %s is none of its examples", name, is.Sample, is.Message)
			}
		}
		for _, m := range table.Messages {
			if len(m.Examples) > 0 && !seen[m.Name] {
				t.Errorf("%s: %s is not sighted", name, m.Name)
			}
		}
	}
}

func isExample(m *mapping.Message, is *decode.Sighting) bool {
	return is.Question || slices.ContainsFunc(m.Examples, func(e mapping.Example) bool { return bytes.Equal(e.Payload, is.Sample) })
}

const surveyLine = `
packlink: 1
name: survey
title: t
source: [{title: invented for this test}]
byte_order: big
bus:
  serial:
    addresses: [1, 8]
    parts: [{part: start, hex: 5A}, {part: address, as: u8, is: address}, {part: kind, as: u8}, {part: size, as: u8, counts: data},
      {part: data, most: 8}, {part: check, as: u8, sum: plain, over: [address, data]}]
messages:
  - {name: charge, frame: {kind: 1}, ask: {kind: 0x81}, length: 1, fields: [{at: 0, as: u8, is: soc_pct}], examples: [{hex: 5A 01 01 01 58 5B, gives: {soc_pct: 88}, source: worked by hand}]}
`

func TestSurveyOfALine(t *testing.T) {
	line := func(b ...byte) transport.Frame { return transport.Frame{Medium: transport.Serial, Data: b} }
	_, got := surveyed(tableOf(t, surveyLine),
		line(0x5A, 1, 0x81, 0, 0x82), line(0x5A, 1, 1, 1, 88, 91), line(0x5A, 2, 1, 1), line(90, 94), // asked, answered in pieces
		line(0x5A, 1, 1, 2, 88, 0, 92),                  // two bytes
		line(0x5A, 9, 1, 1, 88, 99),                     // no pack's address
		line(0x5A, 1, 7, 0, 8), line(0x5A, 1, 7, 0, 77), // unknown, and with a wrong check value
		line(0x5A, 1, 1, 99),   // too long
		line(1, 2),             // noise
		line(0x5A, 1, 1, 3, 5), // the beginning
		transport.Frame{Medium: transport.CAN, Data: []byte{7}},
		transport.Frame{Medium: transport.Serial, Channel: 1, Data: []byte{0x5A, 1, 9, 0, 10}}, // another line, while a frame on the first has begun
		transport.Frame{Medium: transport.Serial, Flags: transport.Damaged, Data: []byte{6}},
	)
	want := []string{
		"charge|kind 0x01|2 of 1 from [1 2]|5A010101585B||",
		"charge|kind 0x01|1 of 1 from [9]|5A0901015863|a pack has an address from 1 to 8|",
		"charge|kind 0x01|1 of 2 from [1]|5A01010258005C|the length of the message is 1|",
		"question for charge|kind 0x81|1 of 0 from [1]|5A01810082||",
		"|kind 0x07|1 of 0 from [1]|5A01070008||",
		"|kind 0x09|1 of 0 from [1]|5A0109000A||",
		"|frame|1 of 0 from []|07|it is of another medium than the mapping's bus|",
		"|bytes|1 of 0 from []|5A010163|its length is wrong|",
		"|bytes|1 of 0 from []|06|marked as damaged|",
		"|single bytes|2 of 0 from []|0102|of no frame|",
		"|bytes|1 of 0 from []|5A01010305|only the beginning of a frame|",
		"|kind 0x07|1 of 0 from []|5A0107004D|the check value is wrong|the part check is 4D, and over these bytes it would be 08",
	}
	if !slices.Equal(got, want) {
		t.Errorf("sighted\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestSurveyOfCAN(t *testing.T) {
	c := table(t, 29, `{name: a, can: {id: 0x18FF0000, address: {bit: 0, width: 8}}, length: [1, 2], fields: [{at: 0, as: u8, is: soc_pct}, {at: 1, as: u8, is: soh_pct, optional: true}], examples: [{hex: "58", address: 1, gives: {soc_pct: 88}, source: s}]}`)
	frame := func(id uint32, flags transport.Flags, b ...byte) transport.Frame {
		return transport.Frame{Medium: transport.CAN, ID: id, Flags: flags, Data: b}
	}
	s, got := surveyed(c, frame(0x18FF0003, transport.Extended, 88), frame(0x18FF0002, transport.Extended, 89), frame(0x18FF0002, transport.Extended, 89, 99),
		frame(0x18FF0002, transport.Extended, 1, 2, 3), frame(0x351, 0, 1), frame(0x351, transport.BusError, 1))
	want := []string{
		"a|id 18FF0000|2 of 1 from [2 3]|58||",
		"a|id 18FF0000|1 of 2 from [2]|5963||",
		"a|id 18FF0000|1 of 3 from [2]|010203|the length of the message is 1 to 2|",
		"|id 351|1 of 1 from []|01||",
		"|id 351|1 of 1 from []|01|not read, as damaged|",
	}
	if !slices.Equal(got, want) {
		t.Errorf("sighted\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if first := s.Sightings()[0]; first.Address != 3 {
		t.Errorf("the sample is from %d, want 3", first.Address)
	}
}

// TestSurveyIsBounded floods it with ids.
func TestSurveyIsBounded(t *testing.T) {
	c := table(t, 11, `{name: a, can: {id: 1}, fields: [{at: 0, as: u8, is: soc_pct}], examples: [{hex: "58", gives: {soc_pct: 88}, source: s}]}`)
	var flood []transport.Frame
	for id := range uint32(2 * decode.MostSightings) {
		flood = append(flood, transport.Frame{Medium: transport.CAN, ID: id + 2})
	}
	s, lines := surveyed(c, flood...)
	if len(lines) != decode.MostSightings || s.Further() != decode.MostSightings {
		t.Errorf("%d sightings and %d further frames, want %d of each", len(lines), s.Further(), decode.MostSightings)
	}
}

// FuzzSurvey looks at arbitrary bytes as a serial line, in two pieces, and as CAN
// frames: what is counted is bounded by what came, and samples are of it.
func FuzzSurvey(f *testing.F) {
	f.Add([]byte{0x5A, 1, 1, 1, 88, 91, 0x5A, 1, 0x81, 0, 0x82}, uint16(4))
	f.Add([]byte{0x5A, 1, 1, 1, 88, 0, 0x5A, 0x5A, 1, 1, 99, 7}, uint16(1))
	f.Add([]byte("~21014600E0020100FD3A\r"), uint16(9))
	tables := []*mapping.Compiled{tableOf(f, surveyLine), serialTable(f, "telecom-ascii-hex"), serialTable(f, "marrowfen-mf16"), serialTable(f, "storage-can-35x")}
	f.Fuzz(func(t *testing.T, data []byte, cut uint16) {
		at := min(int(cut), len(data))
		for _, c := range tables {
			medium := transport.Serial
			if c.Bus.CAN != nil {
				medium = transport.CAN
			}
			s, _ := surveyed(c, transport.Frame{Medium: medium, ID: 0x351, Data: data[:at]}, transport.Frame{Medium: medium, ID: 0x351, Data: data[at:]})
			frames := uint64(0)
			for _, is := range s.Sightings() {
				frames += is.Frames
				if !bytes.Contains(data, is.Sample) && is.Wrong != "of no frame" {
					t.Fatalf("%s: the sample % X is not in % X", c.Name, is.Sample, data)
				}
			}
			if frames > uint64(len(data)+2) {
				t.Fatalf("%s: %d sightings of %d bytes", c.Name, frames, len(data))
			}
		}
	})
}
