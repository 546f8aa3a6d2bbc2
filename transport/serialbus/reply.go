package serialbus

import (
	"context"
	"errors"
	"fmt"
	"time"

	"packlink/transport"
)

// Replier answers questions on a serial line of bytes, whatever they look like: what is
// a question, and what is answered, is known to somebody else.
//
// An answer is sent once the line was silent for 3.5 characters. A question that at
// least four bytes came behind is not answered, as whoever asked has gone on.
type Replier struct {
	station
	reply  func(heard []byte) []byte
	input  [maxADU]byte
	answer []byte // to the newest question; empty if there is none
	behind int    // bytes that came after that question
}

// NewReplier makes a replier for an endpoint such as serial:/dev/ttyUSB0?baud=9600. It
// opens nothing yet. Reply takes what was heard, nil where bytes were lost, and returns
// the answer to the newest question that ended in it; nothing if there is none. Report,
// which may be nil, hears when the line is lost and when it is back. The error is an
// [*Error].
func NewReplier(e transport.Endpoint, reply func(heard []byte) []byte, report func(Event)) (*Replier, error) {
	p, err := readPlace(e, false)
	if err != nil {
		return nil, err
	}
	return &Replier{station: station{place: p, report: report}, reply: reply}, nil
}

// TransmitReplies answers on the line that Open opened, until ctx ends or Close is called; where
// nothing was opened it returns at once. A line that is lost is opened again by the same
// name, after 100 ms to 5 s.
func (r *Replier) TransmitReplies(ctx context.Context) { r.serve(ctx, r.forget, r.turn) }

// forget drops what was heard on a line that was lost.
func (r *Replier) forget() {
	r.answer = nil
	r.reply(nil)
}

// turn waits for bytes, or for the silence after a question, and answers it.
func (r *Replier) turn(open link) error {
	var until time.Time
	if len(r.answer) > 0 {
		until = time.Now().Add(r.place.silence())
	}
	n, err := open.read(r.input[:], until)
	if err != nil {
		return err
	}
	if n > 0 {
		r.hear(r.input[:n])
		return nil
	}
	return r.respond(open)
}

func (r *Replier) hear(data []byte) {
	if answer := r.reply(data); len(answer) > 0 {
		r.answer, r.behind = answer, 0
		return
	}
	if r.behind += len(data); r.behind >= shortestFrame {
		r.answer = nil
	}
}

func (r *Replier) respond(open link) error {
	answer := r.answer
	if r.answer = nil; len(answer) == 0 {
		return nil
	}
	err := open.write(answer, r.place.transmission(len(answer))+sendSlack)
	if errors.Is(err, errStuck) {
		return fmt.Errorf("an answer of %d bytes cannot be sent: %w", len(answer), err)
	}
	return err
}
