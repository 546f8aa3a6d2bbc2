package serialbus

import (
	"context"
	"fmt"
	"slices"
	"time"

	"packlink/transport"
)

// Question is bytes that a pack is asked by, again and again.
type Question struct {
	Pack  string // who is asked, as messages name it, such as "pack 3"
	Name  string // what is asked for, as messages name it, such as "alarms"
	Sent  []byte
	Every time.Duration // the period
}

// Ear knows answers when it hears them.
type Ear interface {
	// Asked notes that a question was sent, by its index in the plan.
	Asked(question int)

	// Heard takes the next bytes that came, and tells whether the answer to the
	// newest question ends in them.
	Heard(data []byte) bool

	// Lost notes that bytes may be missing before the next ones.
	Lost()
}

// QuestionPlan is what to ask by questions that are not Modbus.
type QuestionPlan struct {
	Questions []Question
	Ear       Ear
	Timeout   time.Duration // until an answer must begin; 0 is DefaultTimeout
	Quiet     time.Duration // silence before a question, if it is to be more than 3.5 characters
}

// Asker asks packs questions and hands over what goes by.
type Asker struct {
	line  *line
	place *place
	how   policy
	plan  QuestionPlan
	tell  func(Event)

	asking  bool      // a question is on its way
	turn    int       // the pack it is for
	piece   *piece    // its turn
	sent    []byte    // its bytes
	echoed  int       // of them, those heard back first of all, as some adapters do
	came    int       // bytes that came since
	heardAt time.Time // when the last of them came
	firstBy time.Time // the answer must have begun

	units []*unit
	names []string // of the packs, in the order of units
	busy  time.Time
	ready time.Time
	mute  int
	lost  bool

	buffer  [runLength]byte
	next    transport.Frame
	full    bool // next is to be handed over
	waiting []Event
}

// TransmitQuestions opens a line and asks the questions of a plan, one at a time. It
// transmits these and nothing else. The endpoint is serial:/dev/ttyUSB0?baud=9600&frame=8N1
// or a serial device server, tcp:192.0.2.7:4001; the options timeout, quiet (which
// outrank the plan) and retries say how to ask. A question without an answer is
// repeated, and a silent pack asked ever more rarely, as by a [Poller].
//
// A line that is lost later is opened again by the same name. report, which may be
// nil, hears of what a person should know, in the goroutine that receives. The end
// of ctx closes the asker. The error is an [*Error].
func TransmitQuestions(ctx context.Context, e transport.Endpoint, plan QuestionPlan, report func(Event)) (*Asker, error) {
	at, err := readPlace(e, true)
	if err != nil {
		return nil, err
	}
	if schemes[e.Scheme].framed {
		return nil, endpointError(e, "this is no line of bytes: write serial:/dev/ttyUSB0?baud=9600&frame=8N1 or tcp:192.0.2.7:4001")
	}
	if _, given := e.Options["registers"]; given {
		return nil, endpointError(e, "registers is for Modbus; these questions have none")
	}
	how, err := readPolicy(at, &Plan{Timeout: plan.Timeout, Quiet: plan.Quiet})
	if err != nil {
		return nil, err
	}
	if err := plan.check(e); err != nil {
		return nil, err
	}
	return openAsker(ctx, at, how, plan, at.open, report)
}

func (plan *QuestionPlan) check(e transport.Endpoint) error {
	if len(plan.Questions) == 0 {
		return endpointError(e, "there is nothing to ask for: the plan has no question")
	}
	for i, q := range plan.Questions {
		if len(q.Sent) == 0 || q.Every <= 0 {
			return endpointError(e, "question %d of the plan has no bytes or no period", i+1)
		}
	}
	return nil
}

func openAsker(ctx context.Context, at *place, how policy, plan QuestionPlan, dial func(context.Context) (link, error), report func(Event)) (*Asker, error) {
	a := &Asker{place: at, how: how, plan: plan, tell: report, turn: -1, ready: time.Now()}
	if report == nil {
		a.tell = func(Event) {}
	}
	a.schedule(a.ready)
	var err error
	a.line, err = openLine(ctx, at.endpoint.String(), dial, report)
	return a, err
}

// schedule makes every question due now; later those of one period are spread
// evenly over it.
func (a *Asker) schedule(now time.Time) {
	a.units, a.names = nil, nil
	perPeriod, placed := map[time.Duration]int{}, map[time.Duration]int{}
	for _, q := range a.plan.Questions {
		perPeriod[q.Every]++
	}
	for i, q := range a.plan.Questions {
		placed[q.Every]++
		phase := q.Every * time.Duration(placed[q.Every]) / time.Duration(perPeriod[q.Every])
		p := &piece{question: i, every: q.Every, due: now, tick: now.Add(phase)}
		n := slices.Index(a.names, q.Pack)
		if n < 0 {
			n = len(a.names)
			a.names, a.units = append(a.names, q.Pack), append(a.units, &unit{})
		}
		a.units[n].blocks = append(a.units[n].blocks, &block{pieces: []*piece{p}})
	}
}

// Receive fills f with what was sent or heard: a question as it was sent, or a run
// of bytes as the driver gave them. Questions are sent while Receive runs, so it is
// to be called again without delay. It returns io.EOF once the asker is closed;
// there is no other error.
func (a *Asker) Receive(f *transport.Frame) error {
	for !a.full {
		if err := a.step(); err != nil {
			return err
		}
		for _, e := range a.waiting {
			a.tell(e)
		}
		a.waiting = a.waiting[:0]
	}
	*f, a.full = a.next, false
	return nil
}

// Close ends a Receive at once and closes the line.
func (a *Asker) Close() error { return a.line.close() }

func (a *Asker) say(kind EventKind, format string, args ...any) {
	a.waiting = append(a.waiting, Event{Kind: kind, Endpoint: a.place.endpoint.String(), Detail: a.names[a.turn] + " " + fmt.Sprintf(format, args...)})
}
