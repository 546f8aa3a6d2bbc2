package serialbus

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"github.com/grid-x/modbus"
)

// The sizes of a Modbus/TCP message (MODBUS Messaging on TCP/IP V1.0b, section
// 3.1.3): transaction, protocol and length are six bytes that the length does not
// count.
const (
	uncounted  = 6
	minCounted = 2 // unit and function
	maxCounted = 254
)

// errNotModbus says that nobody knows where the next message begins.
var errNotModbus = errors.New("the other side does not speak Modbus/TCP")

// packager turns a message into bytes and back.
type packager = modbus.Packager

// newRTU packs messages for a serial line.
func newRTU() packager { return modbus.NewRTUClientHandler("") }

// gateway is a link to a Modbus/TCP server that looks like a serial line: what is
// written and read are RTU frames, so that whoever reads the frames needs to know
// one form only. An answer whose transaction is not that of the last request
// never comes out of it.
type gateway struct {
	conn    link
	tcp     packager
	rtu     packager
	asked   []byte           // the last request on the wire
	ready   []byte           // RTU frames that are not yet read
	partial []byte           // the beginning of a message
	late    func(adu []byte) // hears of an answer to an older request
	buffer  [1024]byte
}

func newGateway(conn link, late func(adu []byte)) *gateway {
	return &gateway{conn: conn, tcp: modbus.NewTCPClientHandler(""), rtu: newRTU(), late: late}
}

func (g *gateway) write(frame []byte, limit time.Duration) error {
	pdu, err := g.rtu.Decode(frame)
	if err != nil {
		return err
	}
	g.tcp.SetSlave(frame[0])
	if g.asked, err = g.tcp.Encode(pdu); err != nil {
		return err
	}
	return g.conn.write(g.asked, limit)
}

func (g *gateway) read(buffer []byte, until time.Time) (int, error) {
	for len(g.ready) == 0 {
		n, err := g.conn.read(g.buffer[len(g.partial):], until)
		if n == 0 || err != nil {
			return 0, err
		}
		if err := g.unpack(g.buffer[:len(g.partial)+n]); err != nil {
			return 0, err
		}
	}
	n := copy(buffer, g.ready)
	g.ready = append(g.ready[:0], g.ready[n:]...)
	return n, nil
}

// unpack turns the whole messages of data into RTU frames and keeps the rest.
func (g *gateway) unpack(data []byte) error {
	for {
		size, err := messageSize(data)
		if err != nil {
			return err
		}
		if size == 0 {
			g.partial = g.buffer[:copy(g.buffer[:], data)]
			return nil
		}
		if err := g.convert(data[:size]); err != nil {
			return err
		}
		data = data[size:]
	}
}

// convert takes one message.
func (g *gateway) convert(message []byte) error {
	pdu, err := g.tcp.Decode(message)
	if err != nil {
		return err
	}
	g.rtu.SetSlave(message[uncounted])
	frame, err := g.rtu.Encode(pdu)
	if err != nil {
		return err
	}
	if g.asked == nil || !bytes.Equal(message[:2], g.asked[:2]) {
		g.late(frame)
		return nil
	}
	g.ready = append(g.ready, frame...)
	return nil
}

// messageSize is the size of the first message of data; 0 as long as it is not
// whole.
func messageSize(data []byte) (int, error) {
	if len(data) < uncounted {
		return 0, nil
	}
	counted := int(binary.BigEndian.Uint16(data[4:]))
	if data[2] != 0 || data[3] != 0 || counted < minCounted || counted > maxCounted {
		return 0, fmt.Errorf("%w: a message begins with %X", errNotModbus, data[:uncounted])
	}
	if len(data) < uncounted+counted {
		return 0, nil
	}
	return uncounted + counted, nil
}

func (g *gateway) close() error { return g.conn.close() }
