package modbus

import "time"

// SweepTime is how long after its first piece a sweep is answered from the same
// image (chosen: at 9600 bit/s it is enough for 1,900 registers).
const SweepTime = 5 * time.Second

// Reader answers one client of units. A request sees one image only, and so does
// a sweep: a block of more than 125 registers that the client reads in pieces.
//
// A request goes on with the sweep before it if it is to the same unit, comes
// within [SweepTime] of the first piece, and begins at the register where the
// last piece ended. To ask again for the last piece, unless that is the first one,
// goes on too, so that an answer lost on the way tears nothing. Every other request
// for registers begins a new sweep, with the newest image. A unit that is not known
// any more is not known in the middle of a sweep either.
//
// A reader keeps one image and nothing else of what it answered. It serves one
// goroutine at a time.
type Reader struct {
	units *Units
	sweep sweep
}

// sweep is a run of requests that see one image.
type sweep struct {
	unit  byte
	image *Image
	begun time.Time
	first int // address of the first piece
	last  int // address of the last piece
	next  int // address behind the last piece
}

// NewReader is a reader for one more client.
func (u *Units) NewReader() *Reader { return &Reader{units: u} }

// Answer is [Units.Answer] for this client.
func (r *Reader) Answer(unit byte, request, response []byte) []byte {
	image := r.units.image(unit)
	from, quantity, sound := readRange(request)
	if image != nil && sound {
		image = r.sweep.take(unit, image, from, quantity)
	}
	return answer(image, request, response)
}

// take is the image that a request for registers sees.
func (s *sweep) take(unit byte, newest *Image, from, quantity int) *Image {
	now := time.Now()
	if !s.goesOn(unit, from, now) {
		*s = sweep{unit: unit, image: newest, begun: now, first: from}
	}
	s.last, s.next = from, from+quantity
	return s.image
}

func (s *sweep) goesOn(unit byte, from int, now time.Time) bool {
	again := from == s.last && s.last != s.first
	return s.image != nil && s.unit == unit && now.Sub(s.begun) < SweepTime && (from == s.next || again)
}
