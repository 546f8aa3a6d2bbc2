package serialbus

// broadcast is the address of all units, and lastUnit the last of one (MODBUS over
// Serial Line V1.02, section 2.2; from memory).
const (
	broadcast = 0
	lastUnit  = 247
)

// shortestFrame is address, function and CRC.
const shortestFrame = 4

// Of this function and kind the answer has no size that its beginning tells.
const (
	encapsulated = 0x2B
	readIdentity = 0x0E
)

// ear finds the requests to some units in what is heard on a line that others share.
// It takes what it hears frame by frame: so what stands inside another unit's answer is
// never a request, whatever it looks like.
type ear struct {
	mine    [lastUnit + 1]bool
	waits   byte // the unit whose answer may come next; broadcast: none
	buffer  [2 * maxADU]byte
	heard   []byte // what is not yet taken, in buffer
	astray  bool   // noise was passed over since the last frame or silence
	request []byte // the newest request to one of mine that is not answered; empty: none
	behind  int    // how many bytes came behind it
	counts  AnswerCounts
}

// kind is what the bytes begin with.
type kind uint8

const (
	undecided kind = iota // more must come
	stray                 // the first byte begins no frame
	others                // a frame that is not to be answered
	toMe                  // a request to one of mine
)

func newEar(units []byte) *ear {
	e := &ear{request: make([]byte, 0, maxADU)}
	for _, unit := range units {
		e.mine[unit] = true
	}
	return e
}

// hear takes bytes that arrived, at most maxADU.
func (e *ear) hear(data []byte) {
	kept := copy(e.buffer[:], e.heard)
	e.heard = e.buffer[:kept+copy(e.buffer[kept:], data)]
	e.behind += len(data)
	e.take(false)
	e.forget()
}

// silence takes what is left when nothing came for [patienceOfEar]: nothing will be
// added to it.
func (e *ear) silence() {
	e.take(true)
	e.forget()
	e.astray = false
}

// forget drops a request that so much came behind that it can be a frame: the master
// has gone on. Fewer bytes are what a transmitter's switch leaves on a line.
func (e *ear) forget() {
	if len(e.request) > 0 && e.behind >= shortestFrame {
		e.request = e.request[:0]
		e.counts.Overtaken++
	}
}

// take takes frames and noise off the beginning of what was heard.
func (e *ear) take(silent bool) {
	for len(e.heard) > 0 {
		kind, size := e.first(silent)
		switch kind {
		case undecided:
			return
		case stray:
			e.astray, e.counts.Noise = true, e.counts.Noise+1
		case others:
			e.astray, e.counts.Others = false, e.counts.Others+1
		case toMe:
			e.astray = false
			if len(e.request) > 0 {
				e.counts.Overtaken++
			}
			e.request = append(e.request[:0], e.heard[:size]...)
			e.behind = len(e.heard) - size
		}
		e.heard = e.heard[size:]
	}
}

// first tells what was heard begins with, and its size in bytes.
func (e *ear) first(silent bool) (kind, int) {
	if len(e.heard) < 2 && !silent {
		return undecided, 0
	}
	if len(e.heard) < shortestFrame && silent || e.heard[0] > lastUnit {
		return stray, 1
	}
	for _, size := range e.sizes() {
		switch {
		case size > maxADU:
		case size > len(e.heard) && !silent:
			return undecided, 0
		case sound(e.heard, size):
			return e.recognised(size), size
		}
	}
	return e.unusual(silent)
}

// unusual tells what a run is that has none of the sizes of its function: if nothing
// stood before it since the last frame, and its checksum holds when it is over, it is a
// frame of a function or a length that the specification does not have.
func (e *ear) unusual(silent bool) (kind, int) {
	unit, function := e.heard[0], e.heard[1]
	_, known := frameSizes[function&^exceptionFlag]
	switch {
	case e.astray || known && !e.mine[unit]:
		return stray, 1
	case !silent && len(e.heard) <= maxADU:
		return undecided, 0
	case !silent || !sound(e.heard, len(e.heard)):
		return stray, 1
	case !e.mine[unit] || function&exceptionFlag != 0 || isIdentity(e.heard):
		return others, len(e.heard)
	}
	return toMe, len(e.heard)
}

// isIdentity tells whether a frame is an answer of function 2B: behind ten bytes that
// are always there come the objects (section 6.21).
func isIdentity(frame []byte) bool {
	return frame[1] == encapsulated && frame[2] == readIdentity && len(frame) > 10
}

// sizes are those that a frame which begins here can have, the likelier first. 0
// stands for one that is not known.
func (e *ear) sizes() [2]int {
	unit, function := e.heard[0], e.heard[1]
	if function&exceptionFlag != 0 {
		return [2]int{exceptionSize}
	}
	sizes := frameSizes[function]
	asked, answered := sizes.request.of(e.heard), sizes.answer.of(e.heard)
	if unit == e.waits && unit != broadcast {
		return [2]int{answered, asked}
	}
	return [2]int{asked, answered}
}

// recognised tells whom a sound frame is for. An answer of a unit of mine is this
// program's own, heard again, as some adapters do: it carries values, identity or an
// exception.
func (e *ear) recognised(size int) kind {
	unit, function := e.heard[0], e.heard[1]
	isRequest := size == frameSizes[function].request.of(e.heard)
	e.waits = broadcast
	switch {
	case function&exceptionFlag != 0:
	case e.mine[unit] && (isRequest || frameSizes[function].answer.counted != valueCount):
		return toMe
	case isRequest:
		e.waits = unit
	}
	return others
}

// answered takes the request away that was answered, with what came behind it.
func (e *ear) answered() {
	e.counts.Answered++
	e.reset()
}

// reset forgets everything: what comes next begins anew.
func (e *ear) reset() {
	e.counts.Noise += int64(len(e.heard))
	e.request, e.heard, e.astray, e.waits = e.request[:0], nil, false, broadcast
}
