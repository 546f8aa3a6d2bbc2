package canbus

import (
	"sync"
	"time"

	"packlink/transport"
)

// Question is a frame that asks a pack for something, again and again.
type Question struct {
	Frame transport.Frame
	Every time.Duration
}

// betweenQuestions is the least time from one question to the next (chosen): at
// 125 kbit/s a question and its answer take 2 ms.
const betweenQuestions = 20 * time.Millisecond

// TransmitQuestions opens the bus at a "can:" or "slcan:" endpoint, sends each
// question at its period, one at a time, and hears what goes by. It transmits
// these frames and nothing else. A question that cannot be sent is told once to
// notify, and sent again at its next turn. notify and the errors are those of
// [Open].
func TransmitQuestions(e transport.Endpoint, questions []Question, notify func(Event)) (Listener, error) {
	bus, err := Open(e, notify)
	if err != nil {
		return nil, err
	}
	a := &asker{Bus: bus, endpoint: e.String(), notify: quietly(notify), stop: make(chan struct{})}
	for _, q := range questions {
		a.turns = append(a.turns, turn{q, time.Now()})
	}
	a.work.Go(a.ask)
	return a, nil
}

// asker is a bus on which questions are sent.
type asker struct {
	Bus
	endpoint string
	notify   func(Event)
	turns    []turn
	failed   bool
	stop     chan struct{}
	once     sync.Once
	work     sync.WaitGroup
}

type turn struct {
	Question
	due time.Time
}

// Close ends the asking and closes the bus.
func (a *asker) Close() error {
	a.once.Do(func() { close(a.stop) })
	err := a.Bus.Close()
	a.work.Wait()
	return err
}

func (a *asker) ask() {
	wait := time.NewTimer(0)
	defer wait.Stop()
	for len(a.turns) > 0 {
		select {
		case <-a.stop:
			return
		case <-wait.C:
		}
		next := a.next()
		if pause := time.Until(next.due); pause > 0 {
			wait.Reset(pause)
			continue
		}
		a.note(a.Send(&next.Frame))
		next.due = later(next.due.Add(next.Every), time.Now())
		wait.Reset(betweenQuestions)
	}
}

// next is the turn that is due first.
func (a *asker) next() *turn {
	first := &a.turns[0]
	for i := range a.turns {
		if a.turns[i].due.Before(first.due) {
			first = &a.turns[i]
		}
	}
	return first
}

// note tells of the first of several questions that cannot be sent.
func (a *asker) note(err error) {
	if err != nil && err != errClosed && !a.failed {
		a.notify(Event{Endpoint: a.endpoint, Kind: Unasked, Why: err})
	}
	a.failed = err != nil
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
