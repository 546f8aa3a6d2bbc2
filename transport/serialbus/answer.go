package serialbus

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"sync"
	"time"

	"packlink/transport"
)

// patienceOfEar is how long the rest of a frame may take to arrive (chosen: adapters
// hold bytes back for tens of milliseconds, and a master waits longer than this for
// the answer of another unit).
const patienceOfEar = 50 * time.Millisecond

// Answerer answers the requests of a master on a serial line that it may share with
// other units, by MODBUS over Serial Line V1.02 in RTU mode.
//
// It answers whole requests with a good CRC to its own units, and nothing else: no
// broadcast, no frame of another unit, no answer, nothing damaged. A request is found by
// its bytes and not by the pauses around it, as adapters make pauses of their own. The
// answer comes once the line was silent for 3.5 characters. A request that at least a
// shortest frame came behind is not answered, as the master has gone on.
type Answerer struct {
	station
	answer func(unit byte, request, response []byte) []byte
	mu     sync.Mutex // guards the counts of ear
	ear    *ear
	input  [maxADU]byte
	frame  [maxADU]byte
}

// AnswerCounts is what an [Answerer] heard and did since it was made. Each byte that was
// heard is part of one frame or is noise.
type AnswerCounts struct {
	Answered  int64 // requests that were answered, with those refused by an exception
	Overtaken int64 // requests to its units that something came behind
	Others    int64 // frames that are not for its units
	Noise     int64 // bytes that are part of no frame
}

// NewAnswerer makes an answerer for an endpoint modbus-rtu:/dev/ttyUSB0?baud=9600&frame=8N1
// and units from 1 to 247. It opens nothing yet. Answer appends the response to a request,
// both from the function on, at most 253 bytes. Report, which may be nil, hears when the
// line is lost and when it is back. The error is an [*Error].
func NewAnswerer(e transport.Endpoint, units []byte, answer func(unit byte, request, response []byte) []byte, report func(Event)) (*Answerer, error) {
	p, err := readAnsweringPlace(e)
	if err != nil {
		return nil, err
	}
	for _, unit := range units {
		if unit == broadcast || unit > lastUnit {
			return nil, endpointError(e, "unit %d cannot answer: a unit has an address from 1 to %d", unit, lastUnit)
		}
	}
	return &Answerer{station: station{place: p, report: report}, answer: answer, ear: newEar(units)}, nil
}

// TransmitAnswers answers on the line that Open opened, until ctx ends or Close is called; where
// nothing was opened it returns at once. A line that is lost is opened again by the same
// name, after 100 ms to 5 s.
func (a *Answerer) TransmitAnswers(ctx context.Context) {
	a.serve(ctx, func() { a.note(a.ear.reset) }, a.turn)
}

// turn waits for bytes, or for the silence after them, and answers the request that
// there may be.
func (a *Answerer) turn(open link) error {
	n, err := open.read(a.input[:], a.until())
	if err != nil {
		return err
	}
	if n > 0 {
		a.note(func() { a.ear.hear(a.input[:n]) })
		return nil
	}
	if len(a.ear.request) == 0 {
		a.note(a.ear.silence)
	}
	if len(a.ear.request) == 0 {
		return nil
	}
	return a.respond(open)
}

// until is when nothing more is waited for: never if nothing was heard.
func (a *Answerer) until() time.Time {
	switch {
	case len(a.ear.request) > 0:
		return time.Now().Add(a.place.silence())
	case len(a.ear.heard) > 0:
		return time.Now().Add(max(patienceOfEar, a.place.silence()))
	}
	return time.Time{}
}

// respond answers the newest request.
func (a *Answerer) respond(open link) error {
	request := a.ear.request
	frame := append(a.frame[:0], request[0])
	frame = a.answer(request[0], request[1:len(request)-2], frame)
	frame = binary.LittleEndian.AppendUint16(frame, crc16(frame))
	a.note(a.ear.answered)
	err := open.write(frame, a.place.transmission(len(frame))+sendSlack)
	if errors.Is(err, errStuck) {
		return fmt.Errorf("an answer of %d bytes cannot be sent: %w", len(frame), err)
	}
	return err
}

func (a *Answerer) note(change func()) {
	a.mu.Lock()
	defer a.mu.Unlock()
	change()
}

// Counts can be read at any time.
func (a *Answerer) Counts() AnswerCounts {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.ear.counts
}
