package modbus

import (
	"bytes"
	"io"
	"net"
	"testing"
	"time"
)

func FuzzPDU(f *testing.F) {
	for _, v := range vectors(f) {
		if len(v.request) > headerBytes {
			f.Add(v.request[6], v.request[headerBytes:])
		}
	}
	units := fixtureUnits(f)
	f.Fuzz(func(t *testing.T, unit byte, request []byte) {
		before := bytes.Clone(request)
		if err := checkAnswer(request, units.Answer(unit, request, nil)); err != nil {
			t.Errorf("unit %d, request % X: %v", unit, request, err)
		}
		if !bytes.Equal(request, before) {
			t.Errorf("the request % X was changed", before)
		}
	})
}

// FuzzConnection sends a stream in pieces of one size: the responses must be
// those of its messages one by one, wherever the pieces are cut.
func FuzzConnection(f *testing.F) {
	for i, v := range vectors(f) {
		f.Add(v.request, uint8(i))
	}
	units := fixtureUnits(f)
	f.Fuzz(func(t *testing.T, stream []byte, size uint8) {
		conn := &scriptedConn{toRead: stream, size: max(1, int(size))}
		server := &Server{units: units, first: 1}
		reason := server.converse(&client{conn: conn, reader: units.NewReader()})
		want, fault := responsesTo(t, server, stream)
		if !bytes.Equal(conn.written, want) || reason != fault {
			t.Errorf("got % X, %v; want % X, %v", conn.written, reason, want, fault)
		}
	})
}

// responsesTo cuts a stream as the standard says, in the plainest way.
func responsesTo(t *testing.T, server *Server, stream []byte) (responses []byte, fault DropReason) {
	for {
		if len(stream) >= 3 && stream[2] != 0 || len(stream) >= 4 && stream[3] != 0 {
			return responses, WrongProtocol
		}
		if len(stream) < 6 {
			return responses, notDropped
		}
		length := int(stream[4])<<8 + int(stream[5])
		if length < 2 || length > 254 {
			return responses, WrongLength
		}
		if len(stream) < 6+length {
			return responses, notDropped
		}
		unit, pdu := stream[6], stream[7:6+length]
		response := server.units.Answer(server.addressee(unit), pdu, nil)
		if err := checkAnswer(pdu, response); err != nil {
			t.Errorf("request % X: %v", pdu, err)
		}
		responses = append(responses, stream[0], stream[1], 0, 0, 0, byte(1+len(response)), unit)
		responses = append(responses, response...)
		stream = stream[6+length:]
	}
}

// scriptedConn is a connection that hands over what it has, and then ends.
type scriptedConn struct {
	net.Conn
	toRead, written []byte
	size            int
}

func (c *scriptedConn) Read(p []byte) (int, error) {
	if len(c.toRead) == 0 {
		return 0, io.EOF
	}
	n := copy(p, c.toRead[:min(c.size, len(c.toRead))])
	c.toRead = c.toRead[n:]
	return n, nil
}

func (c *scriptedConn) Write(p []byte) (int, error) {
	c.written = append(c.written, p...)
	return len(p), nil
}

func (c *scriptedConn) SetReadDeadline(time.Time) error  { return nil }
func (c *scriptedConn) SetWriteDeadline(time.Time) error { return nil }
