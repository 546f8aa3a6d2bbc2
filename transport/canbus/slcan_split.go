package canbus

// The bytes that end a line, and one that some adapters add to it.
const (
	lineEnd     = '\r'
	lineRefusal = 0x07 // BEL
	lineFeed    = '\n'
)

// longestLine is the length of the longest line that is read. Frames need 30
// bytes; versions may be longer.
const longestLine = 64

// splitter puts lines together from bytes that come in pieces of any size.
type splitter struct {
	line    [longestLine]byte
	length  int
	tooLong bool // more came than fits: the line is damaged
}

// push takes the next byte. It is true if that ends a line, whose meaning is r.
func (s *splitter) push(c byte) (r record, ended bool) {
	switch {
	case c == lineEnd || c == lineRefusal:
		r = s.end(c)
		s.length, s.tooLong = 0, false
		return r, true
	case c == lineFeed && s.length == 0:
	case s.length == longestLine:
		s.tooLong = true
	default:
		s.line[s.length] = c
		s.length++
	}
	return record{}, false
}

// end reads the line. A lone BEL is a refusal; behind a line it only ends it.
func (s *splitter) end(c byte) record {
	switch {
	case s.tooLong:
		return record{}
	case c == lineRefusal && s.length == 0:
		return record{kind: refusedRecord}
	}
	return parseLine(s.line[:s.length])
}
