package capture

import (
	"bytes"
	"math"

	"packlink/transport"
)

// maxLine is the longest line of a text log, in bytes, without its end. The
// longest frame takes less than 200.
const maxLine = 4096

// textLog reads the log of the can-utils, one frame a line:
//
//	(1436509053.850870) can0 123#1122334455667788
//
// A line may end in R or T for received or sent (candump -x, from memory). The
// last line must have its end too: without one it may be cut, and counts as torn.
type textLog struct {
	stream
	payload [canFDPayload]byte
}

// receive reads lines until one is not blank.
func (t *textLog) receive(f *transport.Frame) error {
	for {
		line, err := t.nextLine()
		if err != nil {
			return err
		}
		if len(line) > 0 {
			return t.parseLine(line, f)
		}
	}
}

// nextLine takes a line, without the blanks around it.
func (t *textLog) nextLine() ([]byte, error) {
	t.at = t.in.offset()
	t.line++
	for {
		text := t.in.unread()
		end := bytes.IndexByte(text[:min(len(text), maxLine+1)], '\n')
		if end >= 0 {
			t.in.start += end + 1
			return bytes.Trim(text[:end], blank), nil
		}
		if len(text) > maxLine {
			return nil, t.fail(KindOversize, t.at, "the line is longer than %d bytes", maxLine)
		}
		if !t.in.fill() {
			return nil, t.unended()
		}
	}
}

// unended is the end of a log whose last line has none. Blanks are no line.
func (t *textLog) unended() error {
	if len(bytes.Trim(t.in.unread(), blank)) == 0 {
		t.at = t.in.reached()
	}
	return t.ended()
}

// parseLine reads a line that is not blank.
func (t *textLog) parseLine(line []byte, f *transport.Frame) error {
	stamp, rest := cutField(line)
	name, rest := cutField(rest)
	text, rest := cutField(rest)
	suffix, rest := cutField(rest)
	time, good := parseStamp(stamp)
	if !good {
		return t.fail(KindLine, t.at, "the time stamp is %q, expected (seconds.fraction) since 1970 up to the year 2262", stamp)
	}
	direction, good := parseDirection(suffix)
	if !good || len(rest) > 0 || len(text) == 0 {
		return t.fail(KindLine, t.at, "expected a time stamp, an interface, a frame, and R, T or nothing")
	}
	if len(name) > MaxName {
		return t.fail(KindLine, t.at, "an interface name of %d bytes, expected at most %d", len(name), MaxName)
	}
	channel, err := t.channel(name)
	if err != nil {
		return err
	}
	if fault := parseTextFrame(text, &t.payload, f); fault != "" {
		channel.Skipped++
		return t.fail(KindLine, t.at, "frame %q: %s", text, fault)
	}
	channel.Frames++
	f.Time, f.Channel, f.Direction = time, channel.number, direction
	return nil
}

// channel finds the interface of a line, or declares it.
func (t *textLog) channel(name []byte) (*channel, error) {
	for _, c := range t.channels {
		if c.Name == string(name) {
			return c, nil
		}
	}
	c, err := t.channelFor(name, LinkCAN)
	if err == nil {
		c.Resolution = Microseconds
	}
	return c, err
}

// cutField cuts off what stands before the next blank.
func cutField(line []byte) (field, rest []byte) {
	end := bytes.IndexAny(line, blank)
	if end < 0 {
		return line, nil
	}
	return line[:end], bytes.TrimLeft(line[end:], blank)
}

// parseDirection reads the letter behind a frame, which may be absent.
func parseDirection(suffix []byte) (transport.Direction, bool) {
	switch string(suffix) {
	case "":
		return transport.DirectionUnknown, true
	case "R":
		return transport.Received, true
	case "T":
		return transport.Sent, true
	}
	return 0, false
}

// parseStamp reads (seconds.fraction), with 1 to 9 digits of fraction, in
// nanoseconds.
func parseStamp(text []byte) (int64, bool) {
	if len(text) < 2 || text[0] != '(' || text[len(text)-1] != ')' {
		return 0, false
	}
	whole, fraction, found := bytes.Cut(text[1:len(text)-1], []byte{'.'})
	seconds, good := parseDigits(whole, 10)
	part, goodPart := parseDigits(fraction, 9)
	for range 9 - min(len(fraction), 9) {
		part *= 10
	}
	if !found || !good || !goodPart || seconds > (math.MaxInt64-part)/1e9 {
		return 0, false
	}
	return seconds*1e9 + part, true
}

// parseDigits reads 1 to most decimal digits.
func parseDigits(text []byte, most int) (int64, bool) {
	if len(text) == 0 || len(text) > most {
		return 0, false
	}
	value := int64(0)
	for _, c := range text {
		if !isDigit(c) {
			return 0, false
		}
		value = value*10 + int64(c-'0')
	}
	return value, true
}
