package serialbus

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"
)

// echoing answers function 3 as [answerTo] does, and refuses all others.
func echoing(_ byte, request, response []byte) []byte {
	if request[0] != 3 || len(request) != 5 {
		return append(response, request[0]|exceptionFlag, 1)
	}
	answer := answerTo(append([]byte{1}, request...))
	return append(response, answer[1:len(answer)-2]...)
}

// leaving is a frame that left, and when.
type leaving struct {
	at    time.Duration
	frame []byte
}

// answering is an answerer on a fake line.
type answering struct {
	*Answerer
	*follower
	begun time.Time
	mu    sync.Mutex
	link  *fakeLink
	dials int
	sent  []leaving
}

// startAnswerer answers for units on a fake line, in a bubble. Once lost, the line fails
// to open as often as failures says.
func startAnswerer(t testing.TB, options string, failures int, units ...byte) *answering {
	t.Helper()
	a := &answering{follower: newFollower(), begun: time.Now()}
	var err error
	if a.Answerer, err = NewAnswerer(endpoint(t, "modbus-rtu:/dev/bench"+options), units, echoing, a.follower.report); err != nil {
		t.Fatal(err)
	}
	dial := func(context.Context) (link, error) {
		a.mu.Lock()
		defer a.mu.Unlock()
		if a.dials++; a.dials > 1 && a.dials <= 1+failures {
			return nil, errors.New("no such port")
		}
		a.link = newFakeLink(func(frame []byte) {
			a.mu.Lock()
			defer a.mu.Unlock()
			a.sent = append(a.sent, leaving{time.Since(a.begun), frame})
		})
		return a.link, nil
	}
	if err := a.open(dial); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() { defer close(ended); a.TransmitAnswers(ctx) }()
	t.Cleanup(func() { cancel(); <-ended })
	synctest.Wait()
	return a
}

// arrives makes bytes arrive and waits some time.
func (a *answering) arrives(data []byte, then time.Duration) {
	a.link.in <- data
	time.Sleep(then)
	synctest.Wait()
}

func (a *answering) took() (frames []leaving) {
	a.mu.Lock()
	defer a.mu.Unlock()
	frames, a.sent = a.sent, nil
	return frames
}

func join(parts ...[]byte) []byte { return bytes.Join(parts, nil) }

// chunk is bytes that arrive at once, and the pause behind them.
type chunk struct {
	data  []byte
	pause time.Duration
}

const (
	atOnce = time.Microsecond
	pause  = 200 * time.Millisecond
)

// The frames of the tests: a request to unit 1, which is one of ours, and what else
// there is on a line.
var (
	ours       = withCRC(1, 3, 0, 7, 0, 2)
	theirs     = withCRC(5, 3, 0, 7, 0, 4)
	trojan     = withCRC(append([]byte{5, 3, 8}, ours...)...)                      // the answer of 5: its data are a request to 1
	longTrojan = withCRC(append(append([]byte{5, 3, 12}, ours...), 9, 9, 9, 9)...) // and more
	vendor     = withCRC(append([]byte{5, 0x41}, ours...)...)                      // the same in a function nobody knows
	damagedReq = append(bytes.Clone(ours[:7]), ours[7]^1)
	identity   = withCRC(1, 0x2B, 0x0E, 1, 0x81, 0, 0, 1, 0, 2, 'o', 'k')
)

// TestAnswererAnswers: which of the requests on a line are answered, as they arrive.
func TestAnswererAnswers(t *testing.T) {
	for name, c := range map[string]struct {
		chunks  []chunk
		answers [][]byte // the frames of requests that are answered, in order
	}{
		"a request":                          {[]chunk{{ours, pause}}, [][]byte{ours}},
		"byte by byte, 16 ms apart":          {torn16(ours), [][]byte{ours}},
		"two, one after the other":           {[]chunk{{ours, pause}, {ours, pause}}, [][]byte{ours, ours}},
		"a broadcast":                        {[]chunk{{withCRC(0, 3, 0, 7, 0, 2), pause}, {withCRC(0, 6, 0, 1, 0, 1), pause}}, nil},
		"another unit":                       {[]chunk{{theirs, pause}, {withCRC(248, 3, 0, 0, 0, 1), pause}}, nil},
		"a wrong CRC":                        {[]chunk{{damagedReq, pause}}, nil},
		"after a wrong CRC":                  {[]chunk{{damagedReq, pause}, {ours, pause}}, [][]byte{ours}},
		"half a request":                     {[]chunk{{ours[:5], pause}}, nil},
		"after half a request":               {[]chunk{{ours[:5], pause}, {ours, pause}}, [][]byte{ours}},
		"half a request and one at once":     {[]chunk{{ours[:5], atOnce}, {ours, pause}}, [][]byte{ours}},
		"a stray 00 before it":               {[]chunk{{append([]byte{0}, ours...), pause}}, [][]byte{ours}},
		"a stray FF before and behind":       {[]chunk{{join([]byte{0xFF}, ours, []byte{0xFF}), pause}}, [][]byte{ours}},
		"behind it soon after":               {[]chunk{{ours, time.Millisecond}, {[]byte{0}, pause}}, [][]byte{ours}},
		"noise that promises a long frame":   {[]chunk{{join([]byte{5, 3, 0xF8, 1}, ours), pause}}, [][]byte{ours}},
		"another's exchange before it":       {[]chunk{{theirs, 20 * time.Millisecond}, {longTrojan, 5 * time.Millisecond}, {ours, pause}}, [][]byte{ours}},
		"in the answer of another":           {[]chunk{{theirs, 20 * time.Millisecond}, {trojan, pause}}, nil},
		"in such an answer, torn":            {append([]chunk{{theirs, 20 * time.Millisecond}}, torn16(longTrojan)...), nil},
		"in an answer to nothing heard":      {[]chunk{{trojan, pause}}, nil},
		"in the tail of an answer":           {[]chunk{{longTrojan[1:], pause}}, nil},
		"in a frame of an unknown function":  {[]chunk{{vendor, pause}}, nil},
		"the same, torn":                     {[]chunk{{vendor[:4], 16 * time.Millisecond}, {vendor[4:], pause}}, nil},
		"our answer heard again":             {[]chunk{{ours, 10 * time.Millisecond}, {answerTo(ours), pause}}, [][]byte{ours}},
		"our refusal heard again":            {[]chunk{{refusal(ours, 2), pause}}, nil},
		"our identity heard again":           {[]chunk{{identity, pause}}, nil},
		"a retry behind it":                  {[]chunk{{join(ours, ours), pause}}, [][]byte{ours}},
		"another request behind it":          {[]chunk{{join(ours, theirs), pause}}, nil},
		"to another of ours":                 {[]chunk{{withCRC(2, 3, 0, 0, 0, 1), pause}}, [][]byte{withCRC(2, 3, 0, 0, 0, 1)}},
		"a write":                            {[]chunk{{withCRC(1, 6, 0, 1, 0, 1), pause}}, [][]byte{withCRC(1, 6, 0, 1, 0, 1)}},
		"a write of many":                    {[]chunk{{withCRC(1, 16, 0, 1, 0, 1, 2, 0, 9), pause}}, [][]byte{withCRC(1, 16, 0, 1, 0, 1, 2, 0, 9)}},
		"the shortest request":               {[]chunk{{withCRC(1, 7), pause}}, [][]byte{withCRC(1, 7)}},
		"an unknown function":                {[]chunk{{withCRC(1, 0x41, 9), pause}}, [][]byte{withCRC(1, 0x41, 9)}},
		"a wrong length":                     {[]chunk{{withCRC(1, 3, 0, 7, 0, 2, 0), pause}}, [][]byte{withCRC(1, 3, 0, 7, 0, 2, 0)}},
		"the longest frame":                  {[]chunk{{withCRC(append([]byte{1, 0x41}, make([]byte, 252)...)...), pause}}, [][]byte{withCRC(append([]byte{1, 0x41}, make([]byte, 252)...)...)}},
		"longer than a frame":                {[]chunk{{make([]byte, 256), 0}, {make([]byte, 256), 0}, {withCRC(append([]byte{1, 0x41}, make([]byte, 253)...)...), pause}}, nil},
		"an answer's function":               {[]chunk{{withCRC(1, 0x81, 0, 7, 0, 2), pause}, {withCRC(1, 0xFF), pause}}, nil},
		"the first of a retried other query": {[]chunk{{theirs, pause}, {theirs, pause}, {trojan, 5 * time.Millisecond}, {ours, pause}}, [][]byte{ours}},
	} {
		synctest.Test(t, func(t *testing.T) {
			a := startAnswerer(t, "", 0, 1, 2)
			heard := 0
			for _, chunk := range c.chunks {
				heard += len(chunk.data)
				a.arrives(chunk.data, chunk.pause)
			}
			got := a.took()
			for i, request := range c.answers {
				want := echoing(request[0], request[1:len(request)-2], request[:1:1])
				if i >= len(got) || !bytes.Equal(got[i].frame, withCRC(want...)) {
					t.Errorf("%s: answer %d to % X is missing or wrong: %+v", name, i, request, got)
				}
			}
			if len(got) != len(c.answers) || a.Counts().Answered != int64(len(got)) {
				t.Errorf("%s: %d answers left, want %d (%+v): %+v", name, len(got), len(c.answers), a.Counts(), got)
			}
		})
	}
}

// torn16 is bytes that an adapter holds back.
func torn16(data []byte) (chunks []chunk) {
	for i := range data {
		chunks = append(chunks, chunk{data[i : i+1], 16 * time.Millisecond})
	}
	chunks[len(data)-1].pause = pause
	return chunks
}

// TestAnswererKeepsSilenceFirst: 3.5 characters after the last byte, by the published
// times (MODBUS over Serial Line V1.02, section 2.5.1.1: 11 bits a character, and
// 1.750 ms above 19200 bit/s).
func TestAnswererKeepsSilenceFirst(t *testing.T) {
	for options, want := range map[string]time.Duration{
		"?baud=1200": 32083333, "?baud=9600": 4010416, "?baud=19200": 2005208, "?baud=38400": 1750000, "?baud=115200&frame=8E1": 1750000,
	} {
		synctest.Test(t, func(t *testing.T) {
			a := startAnswerer(t, options, 0, 1)
			a.arrives(ours[:6], time.Millisecond)
			last := time.Since(a.begun)
			a.arrives(ours[6:], pause)
			if got := a.took(); len(got) != 1 || got[0].at-last != want {
				t.Errorf("%s: got %+v, want one answer after %v", options, got, want)
			}
		})
	}
}

// TestAnswererComesBack: a port that is lost, is not there for some time, and is lost
// again. Each transition is told once.
func TestAnswererComesBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := startAnswerer(t, "", 3, 1)
		a.arrives(ours, pause)
		a.link.in <- nil
		time.Sleep(10 * time.Second)
		synctest.Wait()
		a.arrives(ours, pause)
		a.arrives(ours[:5], atOnce) // the rest never comes
		a.link.in <- nil
		time.Sleep(time.Minute)
		synctest.Wait()
		a.arrives(ours[5:], pause)
		a.arrives(ours, pause)
		if got := len(a.took()); got != 3 || a.dials != 6 {
			t.Errorf("%d answers left, and the port was opened %d times", got, a.dials)
		}
		if a.saw(EventGone) != 2 || a.saw(EventBack) != 2 || len(a.events) != 4 {
			t.Errorf("told: %v", a.events)
		}
	})
}

func TestAnswererIsStuck(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := startAnswerer(t, "", 0, 1)
		a.link.failing = errStuck
		a.arrives(ours, 10*time.Second)
		if len(a.events) != 2 || !strings.Contains(a.events[0].Detail, "cannot be sent") {
			t.Errorf("told: %v", a.events)
		}
		a.arrives(ours, pause)
		if got := a.took(); len(got) != 1 {
			t.Errorf("got %+v", got)
		}
	})
}

func TestNewAnswererRefuses(t *testing.T) {
	for at, says := range map[string]string{
		"serial:/dev/bench":               "write modbus-rtu:",
		"modbus-rtu:":                     "the address is missing",
		"modbus-rtu:/dev/bench?baud=fast": "baud is",
		"modbus-rtu:/dev/bench?frame=9X1": "frame is",
		"modbus-rtu:/dev/bench?quiet=1s":  "no option",
	} {
		if _, err := NewAnswerer(endpoint(t, at), []byte{1}, echoing, nil); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: got %v, want %q", at, err, says)
		}
	}
	for _, unit := range []byte{0, 248, 255} {
		if _, err := NewAnswerer(endpoint(t, "modbus-rtu:/dev/bench"), []byte{unit}, echoing, nil); err == nil {
			t.Errorf("unit %d is taken", unit)
		}
	}
}

// drawLine draws what happens between two silences, and the request in it that is to be
// answered, nil if there is none.
func drawLine(t *rapid.T) (run, request []byte) {
	data := rapid.SliceOfN(rapid.Byte(), 2, 250)
	switch rapid.SampledFrom([]string{"request", "exchange", "damaged", "broadcast", "noise", "trojan"}).Draw(t, "what") {
	case "request":
		request = withCRC(1, byte(rapid.IntRange(1, 6).Draw(t, "function")), rapid.Byte().Draw(t, "address"), 0, 0, 9)
		return request, request
	case "exchange":
		values := data.Draw(t, "values")
		values = values[:len(values)&^1]
		return join(theirs, withCRC(append([]byte{5, 3, byte(len(values))}, values...)...)), nil
	case "damaged":
		frame := bytes.Clone(ours)
		frame[rapid.IntRange(0, 7).Draw(t, "at")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		return frame, nil
	case "broadcast":
		return withCRC(0, 6, 0, 1, 0, 9), nil
	case "trojan":
		return rapid.SampledFrom([][]byte{join(theirs, trojan), longTrojan, vendor}).Draw(t, "trojan"), nil
	}
	return rapid.SliceOfN(rapid.ByteRange(6, 255), 1, 20).Draw(t, "noise"), nil
}

// TestEarHearsWholeLine: on a line with anything on it, torn in any way, exactly the
// requests are answered, and each byte is counted once.
func TestEarHearsWholeLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := newEar([]byte{1})
		for range rapid.IntRange(1, 8).Draw(t, "runs") {
			run, request := drawLine(t)
			for rest := run; len(rest) > 0; {
				n := rapid.IntRange(1, min(len(rest), maxADU)).Draw(t, "piece")
				e.hear(rest[:n])
				rest = rest[n:]
			}
			if len(e.request) == 0 {
				e.silence()
			}
			if !bytes.Equal(e.request, request) {
				t.Fatalf("% X: the request is % X, want % X", run, e.request, request)
			}
			if request != nil {
				e.answered()
			}
		}
	})
}

// FuzzEar: whatever arrives, and however it is torn, what is taken for a request stands in
// it, has a good CRC, and is to one of ours by a function of requests.
func FuzzEar(f *testing.F) {
	for _, seed := range [][]byte{ours, theirs, trojan, longTrojan, vendor, damagedReq, identity, join(theirs, trojan, ours), join([]byte{5, 3, 0xF8}, ours)} {
		f.Add(seed, byte(3))
	}
	f.Fuzz(func(t *testing.T, line []byte, piece byte) {
		e := newEar([]byte{1, 5})
		for at := 0; at < len(line); {
			n := min(max(1, int(piece)), len(line)-at)
			e.hear(line[at : at+n])
			at += n
			if at%7 == 0 {
				e.silence()
			}
			if len(e.heard) > maxADU {
				t.Fatalf("%d bytes are kept", len(e.heard))
			}
			if r := e.request; len(r) > 0 {
				if !bytes.Contains(line[:at], r) || !sound(r, len(r)) || r[0] != 1 && r[0] != 5 || r[1] >= 0x80 {
					t.Fatalf("% X was taken for a request", r)
				}
				e.answered()
			}
		}
	})
}

// TestEarHearsEveryRequest sends every function with every address: each is heard as it
// is, but those of the functions from 80 on, which are answers, and what could be a unit's
// own answer with values. A request whose beginning is a whole request by chance cannot be
// told from that one.
func TestEarHearsEveryRequest(t *testing.T) {
	e := newEar([]byte{1})
	for function := range 256 {
		for from := range 65536 {
			request := withCRC(1, byte(function), byte(from>>8), byte(from), byte(function^from), byte(from))
			e.hear(request)
			if len(e.request) == 0 {
				e.silence()
			}
			sizes := frameSizes[byte(function)]
			isAnswer := function >= 0x80 || sizes.answer.counted == valueCount && sizes.answer.of(request) == 8 && sizes.request.of(request) != 8
			switch delivered := bytes.Equal(e.request, request); {
			case delivered && isAnswer:
				t.Fatalf("% X is taken for a request", request)
			case !delivered && !isAnswer && !hasShorterFrame(request):
				t.Fatalf("% X is not heard", request)
			}
			e.reset()
		}
	}
}

func hasShorterFrame(request []byte) bool {
	for size := 4; size < len(request); size++ {
		if sound(request, size) {
			return true
		}
	}
	return false
}
