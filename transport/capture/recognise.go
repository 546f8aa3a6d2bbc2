package capture

import (
	"bytes"
	"encoding/binary"
	"io"
)

// blank are the bytes that may stand before the first line of a text log.
const blank = " \t\r\n"

// classicMagics are the first four bytes of the older pcap format: with micro-
// and nanoseconds, in both byte orders (draft-ietf-opsawg-pcap, section 4).
var classicMagics = []uint32{0xA1B2C3D4, 0xD4C3B2A1, 0xA1B23C4D, 0x4D3CB2A1}

// recognise chooses the format by the first bytes.
func recognise(s *stream) (format, error) {
	if !s.in.need(4) && s.in.err != io.EOF {
		return nil, s.ended()
	}
	head := s.in.unread()
	switch {
	case len(head) == 0:
		return nil, s.fail(KindEmpty, 0, "the capture is empty, expected a pcapng file or a text log")
	case len(head) >= 4 && binary.BigEndian.Uint32(head) == sectionHeaderBlock:
		return &pcapng{stream: *s}, nil
	case len(head) >= 4 && isClassic(binary.BigEndian.Uint32(head)):
		return nil, s.fail(KindClassicPcap, 0, "this is a classic pcap file, expected pcapng\ntry: editcap -F pcapng %q %q", s.name, s.name+".pcapng")
	case startsTextLog(s):
		s.section = 1
		return &textLog{stream: *s}, nil
	}
	s.in.need(8)
	head = s.in.unread()
	return nil, s.fail(KindUnknownFormat, 0, "not a capture, it begins with % X; expected a pcapng file (0A 0D 0D 0A) or a text log such as (1436509053.850870) can0 123#1122",
		head[:min(len(head), 8)])
}

func isClassic(magic uint32) bool {
	for _, m := range classicMagics {
		if m == magic {
			return true
		}
	}
	return false
}

// startsTextLog looks for "(" and a digit behind any blank lines.
func startsTextLog(s *stream) bool {
	for {
		text := bytes.TrimLeft(s.in.unread(), blank)
		if len(text) >= 2 {
			return text[0] == '(' && isDigit(text[1])
		}
		if !s.in.fill() {
			return false
		}
	}
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }
