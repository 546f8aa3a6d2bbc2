package serialbus

import (
	"bytes"
	"encoding/binary"
	"errors"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// tcpForm is an RTU frame as a Modbus/TCP message of a transaction.
func tcpForm(transaction int, frame []byte) []byte {
	message := binary.BigEndian.AppendUint16(nil, uint16(transaction))
	message = append(message, 0, 0, 0, byte(len(frame)-2))
	return append(message, frame[:len(frame)-2]...)
}

// wired is a gateway over a link in memory.
type wired struct {
	*gateway
	link *fakeLink
	sent [][]byte
	late [][]byte
}

func newWired() *wired {
	w := new(wired)
	w.link = newFakeLink(func(message []byte) { w.sent = append(w.sent, message) })
	w.gateway = newGateway(w.link, func(frame []byte) { w.late = append(w.late, slices.Clone(frame)) })
	return w
}

// drain reads until nothing comes.
func (w *wired) drain() (data []byte, err error) {
	buffer := make([]byte, 100)
	for {
		n, err := w.read(buffer, time.Now())
		if n == 0 || err != nil {
			return data, err
		}
		data = append(data, buffer[:n]...)
	}
}

// TestGatewayFrames has the framing of MODBUS Messaging on TCP/IP V1.0b, section 3.1.3,
// around the request of MODBUS Application Protocol V1.1b3, section 6.3.
func TestGatewayFrames(t *testing.T) {
	w := newWired()
	if err := w.write(unhex(t, "1103006B00037687"), time.Second); err != nil {
		t.Fatal(err)
	}
	if got := w.sent[0]; !bytes.Equal(got[2:], unhex(t, "0000 0006 11 03006B0003")) {
		t.Fatalf("sent % X", got)
	}
	answer := append(w.sent[0][:2:2], unhex(t, "0000 0009 11 0306022B00000064")...)
	for _, b := range answer { // torn to pieces
		w.link.in <- []byte{b}
	}
	got, err := w.drain()
	if want := withCRC(unhex(t, "11 0306022B00000064")...); err != nil || !bytes.Equal(got, want) {
		t.Errorf("got % X, %v; want % X", got, err, want)
	}
	if err := w.write(unhex(t, "1103006B00037688"), time.Second); err == nil {
		t.Error("a request with a wrong CRC was sent")
	}
}

// TestGatewayKeepsOldAnswersOut: only answers to the last transaction come out.
func TestGatewayKeepsOldAnswersOut(t *testing.T) {
	w := newWired()
	frame := withCRC(1, 3, 0, 0, 0, 2)
	w.link.in <- tcpForm(0, answerTo(frame)) // before anything was asked
	if got, err := w.drain(); len(got) != 0 || err != nil || len(w.late) != 1 {
		t.Errorf("got % X, %v, %d late", got, err, len(w.late))
	}
	for range 3 {
		w.write(frame, time.Second)
	}
	for i := range w.sent { // all three answers at once
		w.link.in <- tcpForm(int(binary.BigEndian.Uint16(w.sent[i])), answerTo(frame))
	}
	if got, err := w.drain(); !bytes.Equal(got, answerTo(frame)) || err != nil || len(w.late) != 3 {
		t.Errorf("got % X, %v, %d late; want one answer and three late", got, err, len(w.late))
	}
}

func TestGatewayRefuses(t *testing.T) {
	for name, message := range map[string]string{
		"protocol":    "0001 0001 0006 01 03 02 0001",
		"length 0":    "0001 0000 0000 01 03 02 0001",
		"length 1":    "0001 0000 0001 01",
		"length 255":  "0001 0000 00FF 01 03 02 0001",
		"length huge": "0001 0000 FFFF 01 03 02 0001",
		"rtu instead": "0103 0200 01 79 84",
		"text":        "485454502F312E31",
	} {
		w := newWired()
		w.link.in <- unhex(t, message)
		if got, err := w.drain(); len(got) != 0 || !errors.Is(err, errNotModbus) {
			t.Errorf("%s: got % X, %v", name, got, err)
		}
	}
}

// TestGatewayChunks: how the network tore the messages makes no difference.
func TestGatewayChunks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := newWired()
		frame := withCRC(1, 3, 0, 0, 0, byte(rapid.IntRange(1, 125).Draw(t, "count")))
		w.write(frame, time.Second)
		transaction := int(binary.BigEndian.Uint16(w.sent[0]))
		n := rapid.IntRange(1, 5).Draw(t, "answers")
		data := bytes.Repeat(tcpForm(transaction, answerTo(frame)), n)
		for len(data) > 0 {
			size := rapid.IntRange(1, len(data)).Draw(t, "chunk")
			w.link.in <- data[:size]
			data = data[size:]
		}
		if got, err := w.drain(); err != nil || !bytes.Equal(got, bytes.Repeat(answerTo(frame), n)) {
			t.Fatalf("%d bytes, %v; want %d answers", len(got), err, n)
		}
	})
}

func FuzzGateway(f *testing.F) {
	f.Add([]byte{}, 1)
	f.Add(tcpForm(1, answerTo(withCRC(1, 3, 0, 0, 0, 125))), 7)
	f.Add(bytes.Repeat(tcpForm(1, withCRC(1, 0x83, 2)), 40), 300)
	f.Add([]byte{0, 1, 0, 0, 0, 2, 1, 3, 0, 1, 0, 0, 0, 254}, 3)
	f.Fuzz(func(t *testing.T, data []byte, chunk int) {
		w := newWired()
		w.write(withCRC(1, 3, 0, 0, 0, 2), time.Second)
		w.link.rest = data
		buffer := make([]byte, min(max(chunk, 1), 512))
		for total := 0; ; {
			n, err := w.read(buffer, time.Now())
			if total += n; total > 2*len(data) {
				t.Fatalf("%d bytes came out of %d", total, len(data))
			}
			if n == 0 || err != nil {
				return
			}
		}
	})
}
