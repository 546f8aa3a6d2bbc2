package capture

import (
	"fmt"
	"io"
)

// stream is what the formats have in common: the bytes, where they stand, the
// interfaces met so far, and where the capture was cut.
type stream struct {
	name     string
	in       window
	at       int64 // the offset of the block or line being read
	line     int64 // the number of the line being read; 0 in a pcapng
	channels []*channel
	section  int // counts the sections of a pcapng, from 1
	tornAt   int64
	tornLeft int64
}

// channel is an interface with its number.
type channel struct {
	Interface
	number  int
	section int // the last section that declared it
}

func (s *stream) state() *stream { return s }

// isRead tells whether the packets of the channel become frames.
func (c *channel) isRead() bool { return c.LinkType == LinkCAN || c.LinkType == LinkSerial }

// channelFor gives the channel of this name and link type. One that the current
// section has declared already is another interface that happens to look alike.
func (s *stream) channelFor(name []byte, link LinkType) (*channel, error) {
	for _, c := range s.channels {
		if c.LinkType == link && c.section != s.section && c.Name == string(name) {
			c.section = s.section
			return c, nil
		}
	}
	if len(s.channels) == MaxInterfaces {
		return nil, s.fail(KindInterface, s.at, "one more interface, expected at most %d", MaxInterfaces)
	}
	if len(name) > MaxName {
		return nil, s.fail(KindOversize, s.at, "an interface name of %d bytes, expected at most %d", len(name), MaxName)
	}
	c := &channel{Interface: Interface{Name: string(name), LinkType: link}, number: len(s.channels), section: s.section}
	s.channels = append(s.channels, c)
	return c, nil
}

func (s *stream) fail(kind Kind, offset int64, format string, args ...any) error {
	return &Error{Capture: s.name, Offset: offset, Line: s.line, Kind: kind, Detail: fmt.Sprintf(format, args...)}
}

// ended says why no more bytes come. A block or line that has begun is torn.
func (s *stream) ended() error {
	if s.in.err != io.EOF {
		return fmt.Errorf("%s: byte %d: reading failed: %w", s.name, s.in.reached(), s.in.err)
	}
	if left := s.in.reached() - s.at; left > 0 {
		s.tornAt, s.tornLeft = s.at, left
	}
	return io.EOF
}
