package framing

// Counts are what a line's bytes were that belong to no sound frame.
type Counts struct {
	Noise       uint64 // bytes of no frame
	BadChecksum uint64 // whole frames whose check value is wrong
	BadLength   uint64 // frames whose length cannot be, or that do not end where it says, as when bytes are missing
	Half        uint64 // beginnings of frames whose rest is missing
}

// Trouble is what bytes look like that belong to no sound frame.
type Trouble uint8

// The troubles. [Counts] says what each is.
const (
	Noise Trouble = iota
	BadChecksum
	BadLength
	Half
)

// Finder finds frames in a stream of bytes, each at the byte where it ends. How
// the bytes were torn or glued, and when they came, makes no difference. A frame
// may begin anywhere, so a beginning that comes to nothing hides no frame that
// begins behind it.
type Finder struct {
	format  *Format
	bytes   []byte // from the first byte that may begin a frame
	starts  []start
	plain   []byte // the decoded frame of a coding
	scratch []byte
	counts  Counts
	trouble func(Trouble, []byte) // nil if nobody asks
}

// start is a place where a frame may begin.
type start struct {
	at      int
	size    int // bytes of the frame; 0 if that is not known yet
	verdict verdict
	ended   bool // its last part was seen, but a check value did not hold
	flag    bool // it is the last part of the frame before
}

type verdict uint8

const (
	waiting verdict = iota
	whole
	noise
	badChecksum
	badLength
	half
	idle // the last part of one frame and the first of the next, with nothing between
)

// NewFinder begins a line.
func (f *Format) NewFinder() *Finder {
	return &Finder{format: f, bytes: make([]byte, 0, f.longest+1)}
}

// OnTrouble says who is told of bytes that belong to no sound frame, as they were
// sent. They hold until the call returns. Noise comes in pieces of any length.
func (s *Finder) OnTrouble(tell func(Trouble, []byte)) { s.trouble = tell }

// Feed takes the next byte. If a frame ends with it, that is returned as it was
// before coding; it holds until the next call.
func (s *Finder) Feed(b byte) (frame []byte, found bool) {
	s.bytes = append(s.bytes, b)
	if s.format.begins(b) {
		s.starts = append(s.starts, start{at: len(s.bytes) - 1})
	}
	for i := range s.starts {
		c := &s.starts[i]
		bytes := s.bytes[c.at:]
		if c.size > len(bytes) {
			continue
		}
		if frame, c.verdict = s.judge(c, bytes); c.verdict == whole {
			s.take(c.at, b)
			return frame, true
		}
	}
	s.sweep()
	return nil, false
}

// Lost forgets the bytes before a gap in the stream.
func (s *Finder) Lost() {
	s.count(len(s.bytes))
	s.bytes, s.starts = s.bytes[:0], s.starts[:0]
}

// Counts are the counts so far.
func (s *Finder) Counts() Counts { return s.counts }

// begins tells whether a frame can begin with a byte.
func (f *Format) begins(b byte) bool {
	first := &f.Parts[0]
	return first.Role != Constant || first.Bytes[0] == b
}

// take begins anew behind a frame that began at a place. A flag that ends one
// frame may begin the next.
func (s *Finder) take(at int, last byte) {
	if at > 0 {
		s.count(at)
	}
	s.bytes, s.starts = s.bytes[:0], s.starts[:0]
	if s.format.Coding == Escaped && s.format.begins(last) {
		s.bytes = append(s.bytes, last)
		s.starts = append(s.starts, start{flag: true})
	}
}

// sweep drops what no frame can begin with any more.
func (s *Finder) sweep() {
	next := len(s.bytes)
	for i := range s.starts {
		if s.starts[i].verdict == waiting {
			next = s.starts[i].at
			break
		}
	}
	if next > 0 {
		s.count(next)
		s.bytes = s.bytes[:copy(s.bytes, s.bytes[next:])]
	}
	live := s.starts[:0]
	for _, c := range s.starts {
		if c.verdict == waiting {
			c.at -= next
			live = append(live, c)
		}
	}
	s.starts = live
}

// count says what the first n bytes look like, which belong to no frame: by the
// beginning of a frame that they begin with, if they do.
func (s *Finder) count(n int) {
	front := start{verdict: noise}
	if len(s.starts) > 0 {
		front = s.starts[0]
	}
	switch {
	case front.verdict == idle || front.flag && n == 1:
	case front.verdict == badChecksum || front.verdict == waiting && front.ended:
		s.counts.BadChecksum++
		s.tell(BadChecksum, &front, n)
	case front.verdict == badLength:
		s.counts.BadLength++
		s.tell(BadLength, &front, n)
	case front.verdict == half || front.verdict == waiting && front.size > 0:
		s.counts.Half++
		s.tell(Half, &front, n)
	default:
		s.counts.Noise += uint64(n)
		s.tell(Noise, &front, n)
	}
}

// tell tells of the first n bytes. A beginning that was judged was a frame up to
// the newest byte, though another may begin inside.
func (s *Finder) tell(t Trouble, front *start, n int) {
	if s.trouble == nil || n == 0 {
		return
	}
	if t == BadChecksum && front.verdict == badChecksum {
		n = len(s.bytes)
	}
	s.trouble(t, s.bytes[:n])
}
